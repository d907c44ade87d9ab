package chain_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/limit"
)

// allow lets each id have so many, and then asks for 1500 ms of patience.
type allow struct {
	each int
	took map[string]int
}

func (a *allow) Take(_ context.Context, id string) time.Duration {
	if a.took[id] == a.each {
		return 1500 * time.Millisecond
	}
	a.took[id]++
	return 0
}

// trailed is a gRPC call that remembers its answer's trailer.
type trailed struct {
	header
	trailer metadata.MD
}

func (c *trailed) SetTrailer(md metadata.MD) error {
	c.trailer = metadata.Join(c.trailer, md)
	return nil
}

// refusedUnread checks that a call was refused in the one shape of all refusals
// for want of room, with the same word on when to come again in both places.
func refusedUnread(t *testing.T, err error, trailer metadata.MD, reason string) {
	t.Helper()
	s := status.Convert(err)
	var info *errdetails.ErrorInfo
	var retry *errdetails.RetryInfo
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.RetryInfo:
			retry = d
		}
	}
	if s.Code() != codes.ResourceExhausted || info.GetReason() != reason || info.GetDomain() != "steelyard" {
		t.Fatalf("refused with %v, %v", err, s.Details())
	}
	after := retry.GetRetryDelay().AsDuration()
	if got := trailer.Get("grpc-retry-pushback-ms"); after <= 0 || !slices.Equal(got, []string{strconv.FormatInt(after.Milliseconds(), 10)}) {
		t.Errorf("to come again after %v, by the trailer %v ms", after, got)
	}
}

func TestRates(t *testing.T) {
	c := newChain(t)
	byKey, byTrainee, counted := &allow{6, map[string]int{}}, &allow{2, map[string]int{}}, map[limit.Outcome]int{}
	c.KeyRate, c.TraineeRate = byKey, byTrainee
	c.Count = func(_ context.Context, o limit.Outcome) { counted[o]++ }
	key := c.as([]string{"log.write"})
	call := func(trainee string) (metadata.MD, error) {
		h := &trailed{}
		req := good()
		req.Parent = "trainees/" + trainee
		_, err := c.unary(grpc.NewContextWithServerTransportStream(key, h), create, req, ok)
		return h.trailer, err
	}
	for _, trainee := range []string{"t1", "t1", "t2"} {
		if _, err := call(trainee); err != nil {
			t.Fatalf("%s: %v", trainee, err)
		}
	}
	trailer, err := call("t1")
	refusedUnread(t, err, trailer, "RATE_LIMITED")
	if _, err := call("t2"); err != nil {
		t.Errorf("another trainee: %v", err)
	}

	// A stream is one call, of the trainee that its first message names.
	open := func(trainee string) (handled int, trailer metadata.MD, err error) {
		opening := &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
			Parent: "trainees/" + trainee, UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11",
			ContentSha256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
		}}}
		in := &incoming{ctx: key, in: []proto.Message{opening, opening}}
		err = c.streamOn(in, backfill, func(_ any, ss grpc.ServerStream) error {
			for range 2 {
				if err := ss.RecvMsg(&pb.BackfillEntriesRequest{}); err != nil {
					return err
				}
				handled++
			}
			return nil
		})
		return handled, in.trailer, err
	}
	if n, _, err := open("t3"); n != 2 || err != nil {
		t.Errorf("%d messages were handled, %v", n, err)
	}
	if got := byTrainee.took["gym-1/t3"]; got != 1 {
		t.Errorf("the stream counts as %d calls of %v", got, byTrainee.took)
	}
	n, trailer, err := open("t4") // the seventh call of the key
	if n != 0 {
		t.Errorf("%d messages were handled", n)
	}
	refusedUnread(t, err, trailer, "RATE_LIMITED")
	byKey.each = 100
	n, trailer, err = open("t1") // the third of the trainee
	if n != 0 {
		t.Errorf("%d messages were handled", n)
	}
	refusedUnread(t, err, trailer, "RATE_LIMITED")

	if want := map[limit.Outcome]int{limit.TraineeRate: 2, limit.KeyRate: 1}; !maps.Equal(counted, want) {
		t.Errorf("counted %v, want %v", counted, want)
	}
	if got := slices.Sorted(maps.Keys(byTrainee.took)); fmt.Sprint(got) != "[gym-1/t1 gym-1/t2 gym-1/t3]" {
		t.Errorf("trainees counted: %v", got)
	}
	if len(byKey.took) != 1 {
		t.Errorf("keys counted: %v", byKey.took)
	}
	// Health checks have no key and are not counted.
	if _, err := c.unary(c.as(nil), "/grpc.health.v1.Health/Check", nil, ok); err != nil || len(byKey.took) != 1 {
		t.Errorf("health: %v, keys counted %v", err, byKey.took)
	}
}

// TestRates_Off: without a rate nothing is counted.
func TestRates_Off(t *testing.T) {
	c := newChain(t)
	key := c.as([]string{"log.write"})
	for range 3 {
		if _, err := c.unary(key, create, good(), ok); err != nil {
			t.Fatal(err)
		}
	}
}

// TestAdmission_AfterTheCredentialBeforeTheRequest: with no room a stranger is a
// stranger, a key without the scope is that, and nobody's request is looked at.
func TestAdmission_AfterTheCredentialBeforeTheRequest(t *testing.T) {
	c := newChain(t)
	c.Limiter = limit.New(limit.Options{Slots: 1, Waiters: 1})
	c.RequestTimeout = 10 * time.Millisecond
	slot, err := c.Limiter.Enter(t.Context(), limit.Work{})
	if err != nil {
		t.Fatal(err)
	}
	defer slot.Leave()
	for _, v := range []struct {
		name   string
		scopes []string
		code   codes.Code
	}{
		{"stranger", nil, codes.Unauthenticated},
		{"other scope", []string{"log.read"}, codes.PermissionDenied},
		{"bad request", []string{"log.write"}, codes.ResourceExhausted},
	} {
		h := &trailed{}
		_, err := c.unary(grpc.NewContextWithServerTransportStream(c.as(v.scopes), h), create, &pb.CreateEntryRequest{}, func(context.Context, any) (any, error) {
			t.Errorf("%s: the handler runs", v.name)
			return nil, nil
		})
		if status.Code(err) != v.code {
			t.Errorf("%s: %v", v.name, err)
		}
		if v.code == codes.ResourceExhausted {
			refusedUnread(t, err, h.trailer, "OVERLOADED")
		} else if len(h.trailer.Get("grpc-retry-pushback-ms")) != 0 {
			t.Errorf("%s is told to come again: %v", v.name, h.trailer)
		}
	}
}
