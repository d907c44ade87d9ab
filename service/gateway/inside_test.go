package gateway

import (
	"context"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
)

// plans is a service behind Inside.
type plans struct {
	pb.UnimplementedPhaseServiceServer
	get func(context.Context, *pb.GetPlanRequest) (*pb.Plan, error)
}

func (p *plans) GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.Plan, error) {
	return p.get(ctx, req)
}

// insideTo returns a way to p and what its interceptor saw, call by call.
func insideTo(p *plans) (*Inside, *[]string) {
	seen := &[]string{}
	c := NewInside(func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		*seen = append(*seen, info.FullMethod)
		return handler(ctx, req)
	}, nil)
	pb.RegisterPhaseServiceServer(c, p)
	return c, seen
}

type valueKey struct{}

func TestInside_CallsTheServiceThroughItsInterceptor(t *testing.T) {
	kept := &pb.Plan{Name: "trainees/a/plans/b", IntakeFloorKcal: proto.Float64(1800), StartDate: nil}
	before := proto.Clone(kept)
	c, seen := insideTo(&plans{get: func(ctx context.Context, req *pb.GetPlanRequest) (*pb.Plan, error) {
		md, _ := metadata.FromIncomingContext(ctx)
		if req.GetName() != "trainees/a/plans/b" || !slices.Equal(md.Get("authorization"), []string{"Bearer x"}) || ctx.Value(valueKey{}) != "v" {
			t.Errorf("the service sees %v, %v, %v", req, md, ctx.Value(valueKey{}))
		}
		if _, has := ctx.Deadline(); !has {
			t.Error("the caller's deadline is lost")
		}
		_ = grpc.SetHeader(ctx, metadata.Pairs("one", "1"))
		_ = grpc.SetHeader(ctx, metadata.Pairs("two", "2"))
		_ = grpc.SetTrailer(ctx, metadata.Pairs("three", "3"))
		return kept, nil
	}})
	ctx, cancel := context.WithTimeout(context.WithValue(t.Context(), valueKey{}, "v"), time.Minute)
	defer cancel()
	ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer x")
	var header, trailer metadata.MD
	got, err := pb.NewPhaseServiceClient(c).GetPlan(ctx, &pb.GetPlanRequest{Name: "trainees/a/plans/b"}, grpc.Header(&header), grpc.Trailer(&trailer))
	if err != nil || !proto.Equal(got, before) || got == kept {
		t.Errorf("%v, %v", got, err)
	}
	if len(header) != 2 || header.Get("one")[0] != "1" || header.Get("two")[0] != "2" || len(trailer) != 1 || trailer.Get("three")[0] != "3" {
		t.Errorf("header %v, trailer %v", header, trailer)
	}
	if !slices.Equal(*seen, []string{pb.PhaseService_GetPlan_FullMethodName}) {
		t.Errorf("the interceptor saw %q", *seen)
	}
	got.Name = "another" // the answer is the caller's own as far as its fields go
	if !proto.Equal(kept, before) {
		t.Errorf("the service's own answer has become %v", kept)
	}
}

func TestInside_Errors(t *testing.T) {
	c, seen := insideTo(&plans{get: func(ctx context.Context, _ *pb.GetPlanRequest) (*pb.Plan, error) {
		_ = grpc.SetTrailer(ctx, metadata.Pairs("three", "3"))
		return &pb.Plan{Name: "half done"}, status.Error(codes.Aborted, "no")
	}})
	var trailer metadata.MD
	reply := &pb.Plan{}
	err := c.Invoke(t.Context(), pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{}, reply, grpc.Trailer(&trailer))
	if status.Code(err) != codes.Aborted || reply.GetName() != "" || len(trailer) != 1 {
		t.Errorf("%v, %v, %v", err, reply, trailer)
	}
	for name, call := range map[string]func() error{
		"another method": func() error { return c.Invoke(t.Context(), "/x.Y/Z", &pb.GetPlanRequest{}, reply) },
		"no method":      func() error { return c.Invoke(t.Context(), "", &pb.GetPlanRequest{}, reply) },
		"not implemented": func() error {
			return c.Invoke(t.Context(), pb.PhaseService_ListPlans_FullMethodName, &pb.ListPlansRequest{}, &pb.ListPlansResponse{})
		},
	} {
		if err := call(); status.Code(err) != codes.Unimplemented {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := c.Invoke(t.Context(), pb.PhaseService_GetPlan_FullMethodName, &pb.ListPlansRequest{}, reply); status.Code(err) != codes.Internal {
		t.Errorf("another request: %v", err)
	}
	if len(*seen) != 2 { // the call that failed and the one that is not implemented
		t.Errorf("the interceptor saw %q", *seen)
	}
}

// TestInside_CredentialIsOpenedOnce: the chain is handed whom the middleware let in.
func TestInside_CredentialIsOpenedOnce(t *testing.T) {
	var ctx context.Context
	c, _ := insideTo(&plans{get: func(got context.Context, _ *pb.GetPlanRequest) (*pb.Plan, error) {
		ctx = got
		return &pb.Plan{}, nil
	}})
	token, k, err := access.Issue([]byte("p"), "gym-1", "test", []string{"log.read"}, now, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	used := 0
	h, err := New(t.Context(), c, Options{MaxBodyBytes: 2048, Authenticator: access.Authenticator{
		Keys: oneKey(k), Pepper: []byte("p"), Now: func() time.Time { return now }, Used: func(string, time.Time) { used++ }}})
	if err != nil {
		t.Fatal(err)
	}
	req := httptest.NewRequestWithContext(t.Context(), "GET", "/v1/trainees/a/plans/b", nil)
	req.Header.Add("Authorization", "Bearer "+token)
	req.Header.Add("Authorization", "Bearer other") // the first one counts, here as there
	w := httptest.NewRecorder()
	h.ServeHTTP(w, req)
	if w.Code != 200 || used != 1 {
		t.Fatalf("%d %s, the key was used %d times", w.Code, w.Body, used)
	}
	given := metadata.ValueFromIncomingContext(ctx, "authorization")
	if p, ok := access.Opened(ctx, given[0]); !ok || p.Tenant != "gym-1" || p.KeyID != k.ID {
		t.Errorf("handed %+v, %v for %q", p, ok, given)
	}
	if got := metadata.ValueFromIncomingContext(ctx, chain.CallIDHeader); len(got) != 0 {
		t.Errorf("named %q", got)
	}
}
