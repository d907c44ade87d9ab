package gateway

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
)

// holdingPlan is a service whose answer comes with forms, and how it is asked.
func holdingPlan(t *testing.T, e *call.Encoded, failure error) (*Inside, func() *httptest.ResponseRecorder) {
	t.Helper()
	c := NewInside(func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		if _, err := handler(ctx, req); err != nil {
			return nil, err
		}
		return e, nil
	}, nil)
	pb.RegisterPhaseServiceServer(c, &plans{get: func(context.Context, *pb.GetPlanRequest) (*pb.Plan, error) { return e.Message.(*pb.Plan), failure }})
	token, k, err := access.Issue([]byte("p"), "gym-1", "test", []string{"log.read"}, now, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	h, err := New(t.Context(), c, Options{MaxBodyBytes: 2048, Authenticator: access.Authenticator{Keys: oneKey(k), Pepper: []byte("p"), Now: func() time.Time { return now }}})
	if err != nil {
		t.Fatal(err)
	}
	return c, func() *httptest.ResponseRecorder {
		req := httptest.NewRequestWithContext(t.Context(), "GET", "/v1/trainees/a/plans/b", nil)
		req.Header.Set("Authorization", "Bearer "+token)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		return w
	}
}

func TestHeld_TheJSONOfAnAnswerIsWrittenAsItComes(t *testing.T) {
	e := call.NewEncoded(&pb.Plan{Name: "trainees/a/plans/b"})
	_, ask := holdingPlan(t, e, nil)
	want, err := marshalled(e.Message)
	if w := ask(); err != nil || w.Code != 200 || w.Body.String() != want || w.Header().Get("Content-Type") != "application/json" {
		t.Errorf("%d %s, %v, want %s", w.Code, w.Body, w.Header(), want)
	}
	e.JSON = func() ([]byte, error) { return []byte(`{"made":"before"}`), nil }
	for range 2 {
		if w := ask(); w.Code != 200 || w.Body.String() != `{"made":"before"}` || w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("%d %s, %v", w.Code, w.Body, w.Header())
		}
	}
	e.JSON = func() ([]byte, error) { return nil, errors.New("broken") }
	if w := ask(); w.Code != http.StatusInternalServerError || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("%d %s, %v", w.Code, w.Body, w.Header())
	}
}

func TestHeld_AnErrorIsAnError(t *testing.T) {
	_, ask := holdingPlan(t, call.NewEncoded(&pb.Plan{Name: "trainees/a/plans/b"}), errors.New("broken"))
	if w := ask(); w.Code != http.StatusInternalServerError || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("%d %s, %v", w.Code, w.Body, w.Header())
	}
}

// TestHeld_ToOthersItIsTheMessage: who calls without a place for it gets the reply.
func TestHeld_ToOthersItIsTheMessage(t *testing.T) {
	e := call.NewEncoded(&pb.Plan{Name: "trainees/a/plans/b", IntakeFloorKcal: proto.Float64(0)})
	c, _ := holdingPlan(t, e, nil)
	got, err := pb.NewPhaseServiceClient(c).GetPlan(t.Context(), &pb.GetPlanRequest{})
	if err != nil || !proto.Equal(got, e.Message) || got == e.Message {
		t.Errorf("%v, %v", got, err)
	}
	if err := c.Invoke(withHeldAnswer(t.Context()), pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{}, &pb.Plan{}); err != nil {
		t.Error(err)
	}
}

func TestHeld_StandsForItsReplyOnly(t *testing.T) {
	ctx, reply, other := withHeldAnswer(t.Context()), &pb.Plan{}, &pb.Plan{}
	e := call.NewEncoded(&pb.Plan{Name: "trainees/a/plans/b"})
	if got, err := taken(ctx, reply); err != nil || got != any(reply) {
		t.Errorf("nothing is there, and %v, %v is taken", got, err)
	}
	if handedOver(ctx, reply, e.Message) || !handedOver(ctx, reply, e) {
		t.Error("it is not handed over")
	}
	if got, err := taken(ctx, reply); err != nil || got != any(e) {
		t.Errorf("%v, %v is taken", got, err)
	}
	if got, err := taken(ctx, other); err != nil || got != any(other) {
		t.Errorf("for another reply %v, %v is taken", got, err)
	}
}

func marshalled(m proto.Message) (string, error) {
	b, err := call.JSON.Marshal(m)
	return string(b), err
}
