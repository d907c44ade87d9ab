package service_test

import (
	"math/rand/v2"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
)

// TestPageTokensAreSealed: a token of each listing with a byte changed, or in the
// hands of another tenant, answers byte for byte as a text that never was a token.
func TestPageTokensAreSealed(t *testing.T) {
	w := newWorld(t, func(*service.Config) {})
	for _, c := range []caller{w.mine, w.theirs} { // two of everything
		c.key(t, 0)
		c.must(t, one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: c.plan(), Decision: &pb.Decision{
			FromDate: day(13), Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 2000},
		}}, ""))
		c.must(t, one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{
			Plan: &pb.Plan{Name: c.plan(), State: pb.PlanState_PLAN_STATE_CLOSED}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state"}},
		}, ""))
		c.must(t, one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: c.name(), PlanId: "more", Plan: &pb.Plan{StartDate: day(12)}}, ""))
	}
	const flips = 1000
	seed := seedOf(t)
	random := rand.New(rand.NewPCG(seed, 1))
	listings := 0
	for _, m := range contract() {
		if m.Input().Fields().ByName("page_token") == nil {
			continue
		}
		listings++
		for _, by := range ways(m) {
			t.Run(string(m.Name())+" "+by.name, func(t *testing.T) {
				page := func(c caller, token string) heard {
					req := valid[fullName(m)](t, c, 0)[0].ProtoReflect()
					req.Set(m.Input().Fields().ByName("page_size"), protoreflect.ValueOfInt32(1))
					req.Set(m.Input().Fields().ByName("page_token"), protoreflect.ValueOfString(token))
					return w.call(t, by, "Bearer "+c.token, m, just(req.Interface()))
				}
				token := tokenIn(t, m, page(w.mine, ""))
				if token == "" {
					t.Fatal("there is no second page to go on to")
				}
				if got := page(w.mine, token); got.code != codes.OK {
					t.Fatalf("its own token: %q", got.text)
				}
				refused := page(w.mine, "bm9uc2Vuc2U")
				if refused.code != codes.InvalidArgument {
					t.Fatalf("garbage: %s", refused.text)
				}
				same := func(what string, got heard) {
					t.Helper()
					if got.text != refused.text {
						t.Errorf("%q: %q\nwant as for garbage %q", what, got.text, refused.text)
					}
				}
				same("another tenant", page(w.theirs, token))
				same("another tenant's", page(w.mine, tokenIn(t, m, page(w.theirs, ""))))
				for range flips {
					bad := []byte(token)
					bad[random.IntN(len(bad))] ^= byte(1 + random.IntN(127)) // it stays UTF-8
					same(string(bad), page(w.mine, string(bad)))
				}
			})
		}
	}
	t.Logf("%d listings, %d flips each by each way (SEED=%d)", listings, flips, seed)
}

func tokenIn(t *testing.T, m protoreflect.MethodDescriptor, h heard) string {
	t.Helper()
	if h.code != codes.OK || len(h.answers) != 1 {
		t.Fatalf("a page: %s", h.text)
	}
	answer := dynamicpb.NewMessage(m.Output())
	err := proto.Unmarshal(h.answers[0], answer)
	if h.status != 0 {
		err = protojson.Unmarshal(h.answers[0], answer)
	}
	if err != nil {
		t.Fatal(err)
	}
	return answer.Get(m.Output().Fields().ByName("next_page_token")).String()
}
