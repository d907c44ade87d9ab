package chain_test

import (
	"context"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// boundTo is as with a key of every scope that is bound to a trainee.
func (c *chained) boundTo(trainee string) context.Context {
	c.t.Helper()
	token, k, err := access.Issue(c.Authenticator.Pepper, "gym-1", "test", access.ScopeNames(), now, time.Time{})
	if err != nil {
		c.t.Fatal(err)
	}
	k.Trainee = trainee
	c.Authenticator.Keys.(keys)[k.ID] = k
	return metadata.NewIncomingContext(c.t.Context(), metadata.Pairs("authorization", "Bearer "+token))
}

// absent is what is said of a trainee that does not exist, byte by byte.
func absent(t *testing.T) []byte {
	t.Helper()
	s, _ := fault.Status(store.ErrNotFound)
	return encoded(t, s.Err())
}

func encoded(t *testing.T, err error) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(status.Convert(err).Proto())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestBound_OwnTraineeOnly: any other name, well formed or not, is answered as a
// trainee that does not exist, before anything else is said of the request.
func TestBound_OwnTraineeOnly(t *testing.T) {
	named := func(parent string) *pb.CreateEntryRequest {
		req := good()
		req.Parent = parent
		return req
	}
	bare := func(id string) *pb.CreateTraineeRequest {
		return &pb.CreateTraineeRequest{TraineeId: id, Trainee: &pb.Trainee{}}
	}
	for _, c := range []struct {
		name, method string
		req          proto.Message
		want         codes.Code
	}{
		{"own", create, named("trainees/t1"), codes.OK},
		{"own, bad request", create, &pb.CreateEntryRequest{Parent: "trainees/t1"}, codes.InvalidArgument},
		{"own, malformed below", create, named("trainees/t1/x/y"), codes.InvalidArgument},
		{"another's", create, named("trainees/t2"), codes.NotFound},
		{"another's, bad request", create, &pb.CreateEntryRequest{Parent: "trainees/t2"}, codes.NotFound},
		{"another's of the same beginning", create, named("trainees/t11"), codes.NotFound},
		{"another's that is the own one's beginning", create, named("trainees/t"), codes.NotFound},
		{"other case", create, named("trainees/T1"), codes.NotFound},
		{"none", create, named(""), codes.NotFound},
		{"not a name", create, named("t1"), codes.NotFound},
		{"another collection", create, named("plans/t1"), codes.NotFound},
		{"a slash before", create, named("/trainees/t1"), codes.NotFound},
		{"two slashes", create, named("trainees//t1"), codes.NotFound},
		{"long", create, named("trainees/" + strings.Repeat("t1", 1000)), codes.NotFound},
		{"plan of the own", pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{Name: "trainees/t1/plans/cut"}, codes.OK},
		{"plan of another", pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{Name: "trainees/t2/plans/cut"}, codes.NotFound},
		{"plan to change of another", pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t2/plans/cut"}}, codes.NotFound},
		{"no plan to change", pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{}, codes.NotFound},
		{"the own made", pb.TraineeService_CreateTrainee_FullMethodName, bare("t1"), codes.OK},
		{"another made", pb.TraineeService_CreateTrainee_FullMethodName, bare("t2"), codes.NotFound},
		{"a name where an id belongs", pb.TraineeService_CreateTrainee_FullMethodName, bare("trainees/t1"), codes.NotFound},
		{"some made", pb.TraineeService_CreateTrainee_FullMethodName, bare(""), codes.NotFound},
		{"the tenant's reviews", pb.PhaseService_ListDueReviews_FullMethodName, &pb.ListDueReviewsRequest{}, codes.PermissionDenied},
		{"keys", "/steelyard.v1.AdminService/ListApiKeys", &pb.ListApiKeysRequest{}, codes.PermissionDenied},
	} {
		t.Run(c.name, func(t *testing.T) {
			ch := newChain(t)
			handler := mustNotRun(t)
			if c.want == codes.OK {
				handler = ok
			}
			_, err := ch.unary(ch.boundTo("t1"), c.method, c.req, handler)
			streamErr := ch.stream(ch.boundTo("t1"), c.method, []proto.Message{c.req}, func(_ any, ss grpc.ServerStream) error {
				return ss.RecvMsg(c.req.ProtoReflect().New().Interface())
			})
			for way, err := range map[string]error{"unary": err, "stream": streamErr} {
				if status.Code(err) != c.want {
					t.Errorf("%s: %v, want %v", way, err, c.want)
				}
				if c.want == codes.NotFound && string(encoded(t, err)) != string(absent(t)) {
					t.Errorf("%s: %v is not what is said of an absent one", way, err)
				}
			}
			if c.want == codes.NotFound { // whoever is not bound is told what is wrong, or gets through
				if _, err := ch.unary(ch.as(access.ScopeNames()), c.method, c.req, ok); status.Code(err) == codes.NotFound {
					t.Errorf("unbound: %v", err)
				}
			}
		})
	}
}

// TestBound_StreamStaysWithItsTrainee: the first message decides, and a later one
// cannot name another.
func TestBound_StreamStaysWithItsTrainee(t *testing.T) {
	opening := func(parent string) proto.Message {
		return &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
			Parent: parent, UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64),
		}}}
	}
	batch := &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: []*pb.Entry{{}}}}}
	for _, c := range []struct {
		name string
		in   []proto.Message
		got  int // messages that the handler gets
		want codes.Code
	}{
		{"own", []proto.Message{opening("trainees/t1"), batch, batch}, 3, codes.OK},
		{"another's", []proto.Message{opening("trainees/t2"), batch}, 0, codes.NotFound},
		{"no opening", []proto.Message{batch, opening("trainees/t1")}, 0, codes.NotFound},
		{"own, then another's", []proto.Message{opening("trainees/t1"), batch, opening("trainees/t2")}, 2, codes.NotFound},
		{"own, then a word", []proto.Message{opening("trainees/t1"), opening("t1")}, 1, codes.NotFound},
		{"own twice", []proto.Message{opening("trainees/t1"), opening("trainees/t1")}, 2, codes.OK},
	} {
		ch := newChain(t)
		got := 0
		err := ch.stream(ch.boundTo("t1"), backfill, c.in, func(_ any, ss grpc.ServerStream) error {
			for range c.in {
				if err := ss.RecvMsg(&pb.BackfillEntriesRequest{}); err != nil {
					return err
				}
				got++
			}
			return nil
		})
		if got != c.got || status.Code(err) != c.want {
			t.Errorf("%s: %d messages, %v, want %d, %v", c.name, got, err, c.got, c.want)
		}
		if c.want == codes.NotFound && string(encoded(t, err)) != string(absent(t)) {
			t.Errorf("%s: %v is not what is said of an absent one", c.name, err)
		}
	}
}

// TestBound_TouchesNobodyElsesRate: a bound credential can neither use up what
// another trainee may be asked, nor learn how much of it is left.
func TestBound_TouchesNobodyElsesRate(t *testing.T) {
	c := newChain(t)
	byTrainee := &allow{1, map[string]int{"gym-1/t3": 1}}
	c.TraineeRate = byTrainee
	bound := c.boundTo("t1")
	for _, trainee := range []string{"t2", "t3", "t1"} {
		req := good()
		req.Parent = "trainees/" + trainee
		_, err := c.unary(bound, create, req, ok)
		if want := map[string]codes.Code{"t1": codes.OK, "t2": codes.NotFound, "t3": codes.NotFound}[trainee]; status.Code(err) != want {
			t.Errorf("%s: %v", trainee, err)
		}
	}
	if got := slices.Sorted(maps.Keys(byTrainee.took)); !slices.Equal(got, []string{"gym-1/t1", "gym-1/t3"}) || byTrainee.took["gym-1/t3"] != 1 {
		t.Errorf("counted %v", byTrainee.took)
	}
}

// TestRates_OddNamesAreNotKept: what is no trainee's name is refused later and
// must not fill the table of rates.
func TestRates_OddNamesAreNotKept(t *testing.T) {
	for name, counted := range map[string]bool{
		"trainees/t1": true, "trainees/" + strings.Repeat("a", 128): true, "trainees/" + strings.Repeat("a", 129): false, "": false, "t1": false,
	} {
		c := newChain(t)
		byTrainee := &allow{9, map[string]int{}}
		c.TraineeRate = byTrainee
		_, _ = c.unary(c.as([]string{"recommendation.read"}), pb.TraineeService_GetTrainee_FullMethodName, &pb.GetTraineeRequest{Name: name}, ok)
		if (len(byTrainee.took) == 1) != counted {
			t.Errorf("%.20q: %v", name, byTrainee.took)
		}
	}
}

// TestOpened_TakesThePrincipalOver from the gateway, for the same header only.
func TestOpened_TakesThePrincipalOver(t *testing.T) {
	c := newChain(t)
	ctx := c.as([]string{"log.write"})
	header := metadata.ValueFromIncomingContext(ctx, "authorization")[0]
	clear(c.Authenticator.Keys.(keys)) // whoever asks the store finds nothing
	handed := access.Principal{Tenant: "gym-7", Scopes: []string{"log.write"}}
	var seen access.Principal
	handler := func(ctx context.Context, _ any) (any, error) {
		seen = access.From(ctx)
		return &pb.Entry{}, nil
	}
	if _, err := c.unary(access.WithOpened(ctx, header, handed), create, good(), handler); err != nil || seen.Tenant != "gym-7" {
		t.Errorf("%v, %+v", err, seen)
	}
	for name, ctx := range map[string]context.Context{
		"nothing handed":     ctx,
		"for another header": access.WithOpened(ctx, header+"x", handed),
		"a principal alone":  access.With(ctx, handed),
		"in the metadata":    metadata.NewIncomingContext(ctx, metadata.Pairs("authorization", header, "opened", header, "tenant", "gym-7")),
	} {
		if _, err := c.unary(ctx, create, good(), mustNotRun(t)); status.Code(err) != codes.Unauthenticated {
			t.Errorf("%s: %v", name, err)
		}
	}
}
