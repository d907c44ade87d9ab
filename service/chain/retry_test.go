package chain_test

import (
	"context"
	"fmt"
	"net"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// failing answers with the errors in turn, and well after them.
type failing struct {
	pb.UnimplementedTraineeServiceServer
	mu    sync.Mutex
	errs  []error
	calls []time.Time
}

func (f *failing) next() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls = append(f.calls, time.Now())
	if len(f.errs) == 0 {
		return nil
	}
	err := f.errs[0]
	f.errs = f.errs[1:]
	return err
}

func (f *failing) GetTrainee(context.Context, *pb.GetTraineeRequest) (*pb.Trainee, error) {
	if err := f.next(); err != nil {
		return nil, err
	}
	return &pb.Trainee{Name: "trainees/t1"}, nil
}

func (f *failing) ExportTrainee(_ *pb.ExportTraineeRequest, s grpc.ServerStreamingServer[pb.ExportTraineeResponse]) error {
	if err := f.next(); err != nil {
		return err
	}
	return s.Send(&pb.ExportTraineeResponse{})
}

// client talks over loopback to a service behind the chain, with the published
// configuration for retries.
func client(t *testing.T, c *chained, f *failing) pb.TraineeServiceClient {
	t.Helper()
	server := grpc.NewServer(grpc.UnaryInterceptor(chain.JoinUnary(c.Unary())), grpc.StreamInterceptor(chain.JoinStream(c.Stream())))
	pb.RegisterTraineeServiceServer(server, f)
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(l) }()
	t.Cleanup(server.Stop)
	retries, err := os.ReadFile("../../deploy/grpc-retry.json")
	if err != nil {
		t.Fatal(err)
	}
	// A configuration that does not parse is an error here.
	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithDefaultServiceConfig(string(retries)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return pb.NewTraineeServiceClient(conn)
}

func (c *chained) outgoing(scopes ...string) context.Context {
	md, _ := metadata.FromIncomingContext(c.as(scopes, "x-request-id", "call-7"))
	return metadata.NewOutgoingContext(c.t.Context(), md)
}

// TestRetries_AsPublished: a gRPC client with the published configuration makes
// a refused call again by itself, not before it may, and no other.
func TestRetries_AsPublished(t *testing.T) {
	const patience = 60 * time.Millisecond
	busy := &fault.Exhausted{Reason: fault.ReasonOverloaded, Sentence: "busy", After: patience}
	down := fmt.Errorf("locked: %w", store.ErrUnavailable)
	for _, v := range []struct {
		name  string
		errs  []error
		code  codes.Code
		calls int
		gap   time.Duration
	}{
		{"twice busy", []error{busy, busy}, codes.OK, 3, patience},
		{"thrice busy", []error{busy, busy, busy}, codes.ResourceExhausted, 3, patience},
		{"store down once", []error{down}, codes.OK, 2, time.Second},
		{"invalid", []error{fault.InvalidField("name", "is odd")}, codes.InvalidArgument, 1, 0},
		{"conflict", []error{&fault.Conflict{Reason: "X", Sentence: "out of step"}}, codes.Aborted, 1, 0},
		{"a bug", []error{&fault.Panicked{}}, codes.Internal, 1, 0},
		{"absent", []error{store.ErrNotFound}, codes.NotFound, 1, 0},
	} {
		for _, kind := range []string{"call", "stream"} {
			t.Run(v.name+" "+kind, func(t *testing.T) {
				c, f := newChain(t), &failing{errs: slices.Clone(v.errs)}
				cl := client(t, c, f)
				var err error
				var header, trailer metadata.MD
				if kind == "call" {
					_, err = cl.GetTrainee(c.outgoing("recommendation.read"), &pb.GetTraineeRequest{Name: "trainees/t1"}, grpc.Header(&header), grpc.Trailer(&trailer))
				} else {
					var s grpc.ServerStreamingClient[pb.ExportTraineeResponse]
					if s, err = cl.ExportTrainee(c.outgoing("export"), &pb.ExportTraineeRequest{Name: "trainees/t1"}); err != nil {
						t.Fatal(err)
					}
					_, err = s.Recv()
					header, _ = s.Header()
					trailer = s.Trailer()
				}
				if status.Code(err) != v.code || len(f.calls) != v.calls {
					t.Errorf("%v after %d calls, want %v after %d", err, len(f.calls), v.code, v.calls)
				}
				for i := 1; i < len(f.calls); i++ {
					if gap := f.calls[i].Sub(f.calls[i-1]); gap < v.gap {
						t.Errorf("call %d came %v after the one before, told to wait %v", i, gap, v.gap)
					}
				}
				// The call's own id: in the header of an answer, in the trailer of an error.
				where := header
				if v.code != codes.OK {
					where = trailer
				}
				if got := where.Get("x-request-id"); !slices.Equal(got, []string{"call-7"}) {
					t.Errorf("the call is named %v; header %v, trailer %v", got, header, trailer)
				}
			})
		}
	}
}

// TestRetries_AreThrottled: when most calls fail, a client stops making them
// again: each failure costs a token of ten, each success brings a tenth back,
// and under half there are no retries (gRFC A6).
func TestRetries_AreThrottled(t *testing.T) {
	c, f := newChain(t), &failing{}
	for range 200 {
		f.errs = append(f.errs, &fault.Exhausted{Reason: fault.ReasonOverloaded, Sentence: "busy", After: time.Millisecond})
	}
	cl := client(t, c, f)
	ctx := c.outgoing("recommendation.read")
	const calls = 50
	for range calls {
		if _, err := cl.GetTrainee(ctx, &pb.GetTraineeRequest{Name: "trainees/t1"}); status.Code(err) != codes.ResourceExhausted {
			t.Fatal(err)
		}
	}
	if extra := len(f.calls) - calls; extra < 1 || extra > 5 {
		t.Errorf("%d calls became %d attempts, want 1 to 5 more", calls, len(f.calls))
	}
}
