package chain

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/limit"
)

// methods are all methods of the contract.
func methods(t *testing.T) []protoreflect.MethodDescriptor {
	t.Helper()
	var out []protoreflect.MethodDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		pb.File_steelyard_v1_logbook_service_proto, pb.File_steelyard_v1_trend_service_proto,
		pb.File_steelyard_v1_phase_service_proto, pb.File_steelyard_v1_trainee_service_proto,
	} {
		for i := range file.Services().Len() {
			all := file.Services().Get(i).Methods()
			for j := range all.Len() {
				out = append(out, all.Get(j))
			}
		}
	}
	if len(out) < 20 {
		t.Fatalf("%d methods found", len(out))
	}
	return out
}

func fullName(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

// TestWorkOf_EveryMethod: what is got by GET is a read and everything else is
// not; the bindings know nothing of the scopes that the priority comes from.
func TestWorkOf_EveryMethod(t *testing.T) {
	ctx := access.With(t.Context(), access.Principal{Tenant: "gym-1"})
	for _, m := range methods(t) {
		if m.IsStreamingClient() || m.IsStreamingServer() {
			continue
		}
		rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		want := limit.Work{Tenant: "gym-1", Priority: limit.Write}
		if rule.GetGet() != "" {
			want.Priority = limit.Read
		}
		if got := workOf(ctx, fullName(m)); got != want {
			t.Errorf("%s: %+v, want %+v", m.FullName(), got, want)
		}
	}
}

// TestAdmit_NoMethodRunsWithoutASlot, whichever it is.
func TestAdmit_NoMethodRunsWithoutASlot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := Chain{Limiter: limit.New(limit.Options{Slots: 1, Waiters: 1}), RequestTimeout: time.Second}
		slot, err := c.Limiter.Enter(t.Context(), limit.Work{Tenant: "other"})
		if err != nil {
			t.Fatal(err)
		}
		defer slot.Leave()
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		for _, m := range append(fullNames(t), "/steelyard.v1.NewService/NewMethod") {
			for _, both := range []bool{false, true} {
				info := &grpc.StreamServerInfo{FullMethod: m, IsClientStream: both, IsServerStream: true}
				err := c.admitStream(nil, &messages{ctx: t.Context(), in: 1}, info, func(_ any, ss grpc.ServerStream) error {
					if err := ss.RecvMsg(nil); err != nil {
						return err
					}
					t.Errorf("%s handles a message without a slot", m)
					return nil
				})
				if !isExhausted(err) {
					t.Errorf("%s as a stream: %v", m, err)
				}
			}
			_, err := c.admitUnary(ctx, nil, &grpc.UnaryServerInfo{FullMethod: m}, func(context.Context, any) (any, error) {
				t.Errorf("%s runs without a slot", m)
				return nil, nil
			})
			if !isExhausted(err) && !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("%s: %v", m, err)
			}
		}
		for _, open := range []string{"/grpc.health.v1.Health/Check", "/grpc.health.v1.Health/Watch"} {
			ran := 0
			_, err := c.admitUnary(t.Context(), nil, &grpc.UnaryServerInfo{FullMethod: open}, func(context.Context, any) (any, error) { ran++; return nil, nil })
			if err != nil || ran != 1 {
				t.Errorf("%s: %v, ran %d times", open, err, ran)
			}
			err = c.admitStream(nil, &messages{ctx: t.Context(), in: 1}, &grpc.StreamServerInfo{FullMethod: open}, func(_ any, ss grpc.ServerStream) error { return ss.RecvMsg(nil) })
			if err != nil {
				t.Errorf("%s as a stream: %v", open, err)
			}
		}
	})
}

func fullNames(t *testing.T) []string {
	var out []string
	for _, m := range methods(t) {
		out = append(out, fullName(m))
	}
	return out
}

func isExhausted(err error) bool {
	var e *fault.Exhausted
	return errors.As(err, &e) && e.Reason == fault.ReasonOverloaded && e.After > 0
}

// messages is the server's side of a stream with so many messages to receive.
type messages struct {
	grpc.ServerStream
	ctx  context.Context
	in   int
	slow time.Duration // how long an answer takes to be sent
	sent func()        // told while an answer is being sent
}

func (s *messages) Context() context.Context { return s.ctx }
func (s *messages) RecvMsg(any) error {
	if s.in == 0 {
		return io.EOF
	}
	s.in--
	return nil
}

func (s *messages) SendMsg(any) error {
	time.Sleep(s.slow)
	if s.sent != nil {
		s.sent()
	}
	return nil
}

// streamOf runs a handler on a stream of a service with one slot.
func streamOf(t *testing.T, l *limit.Limiter, m *messages, both bool, handler func(ss grpc.ServerStream) error) error {
	t.Helper()
	m.ctx = access.With(t.Context(), access.Principal{Tenant: "gym-1"})
	c := Chain{Limiter: l, RequestTimeout: time.Second}
	info := &grpc.StreamServerInfo{FullMethod: pb.LogbookService_BackfillEntries_FullMethodName, IsClientStream: both, IsServerStream: true}
	return c.admitStream(nil, m, info, func(_ any, ss grpc.ServerStream) error { return handler(ss) })
}

func works(t *testing.T, l *limit.Limiter, when string, want int) {
	t.Helper()
	if got, _ := l.Load(); got != want {
		t.Errorf("%s: %d slots are taken, want %d", when, got, want)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// TestAdmitStream_HasASlotWhileABatchIsWorkedOn, and at no other time.
func TestAdmitStream_HasASlotWhileABatchIsWorkedOn(t *testing.T) {
	l := limit.New(limit.Options{Slots: 2})
	m := &messages{in: 3, sent: func() { works(t, l, "while an answer is sent", 0) }}
	must(t, streamOf(t, l, m, true, func(ss grpc.ServerStream) error {
		works(t, l, "before a message", 0)
		for range 2 {
			must(t, ss.RecvMsg(nil))
			works(t, l, "with a message", 1)
			must(t, ss.SendMsg(nil))
			works(t, l, "after the answer", 0)
		}
		must(t, ss.SendMsg(nil)) // unasked: it pays for no message to come
		must(t, ss.RecvMsg(nil))
		works(t, l, "with the last message", 1)
		return nil
	}))
	works(t, l, "after the end", 0)
}

// TestAdmitStream_ReceivesAhead: one slot, not two, and it is asked for anew for
// each message.
func TestAdmitStream_ReceivesAhead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := limit.New(limit.Options{Slots: 1})
		m := &messages{in: 2}
		var order []string
		must(t, streamOf(t, l, m, true, func(ss grpc.ServerStream) error {
			must(t, ss.RecvMsg(nil))
			must(t, ss.RecvMsg(nil))
			works(t, l, "with two messages", 1)
			go func() {
				slot, err := l.Enter(t.Context(), limit.Work{Tenant: "gym-1", Priority: limit.Read})
				if err != nil {
					t.Error(err)
					return
				}
				order = append(order, "reader")
				slot.Leave()
			}()
			synctest.Wait()
			must(t, ss.SendMsg(nil))
			order = append(order, "second batch")
			works(t, l, "with one answered", 1)
			must(t, ss.SendMsg(nil))
			works(t, l, "with both answered", 0)
			return nil
		}))
		if got := strings.Join(order, ", "); got != "reader, second batch" {
			t.Errorf("order: %s", got)
		}
	})
}

// TestAdmitStream_EndsWhileItReceives: a receiver that goes on after its handler
// leaves no slot behind.
func TestAdmitStream_EndsWhileItReceives(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := limit.New(limit.Options{Slots: 1})
		slot, err := l.Enter(t.Context(), limit.Work{Tenant: "other"})
		must(t, err)
		must(t, streamOf(t, l, &messages{in: 1}, true, func(ss grpc.ServerStream) error {
			go func() { _ = ss.RecvMsg(nil) }()
			synctest.Wait()
			return nil
		}))
		slot.Leave()
		synctest.Wait()
		works(t, l, "after the end", 0)
	})
}

// TestAdmitStream_ReaderKeepsItWaiting: a stream of answers gives its slot away
// while its reader does not read, and takes it again to go on.
func TestAdmitStream_ReaderKeepsItWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := limit.New(limit.Options{Slots: 1})
		want := 1
		m := &messages{in: 1, slow: stalled - 1, sent: func() { works(t, l, "while an answer is sent", want) }}
		err := streamOf(t, l, m, false, func(ss grpc.ServerStream) error {
			must(t, ss.RecvMsg(nil))
			for range 3 {
				works(t, l, "at work", 1)
				must(t, ss.SendMsg(nil))
			}
			m.slow, want = time.Hour, 0
			must(t, ss.SendMsg(nil))
			works(t, l, "after a slow one", 1)
			m.slow, want = 0, 1
			must(t, ss.SendMsg(nil))
			time.Sleep(time.Hour)
			works(t, l, "an hour of work later", 1)

			m.slow, want = time.Hour, 0
			m.sent = func() { // somebody else is in when it wants to go on
				_, err := l.Enter(t.Context(), limit.Work{Tenant: "other"})
				must(t, err)
			}
			return ss.SendMsg(nil)
		})
		if !isExhausted(err) {
			t.Errorf("with no slot to go on: %v", err)
		}
		works(t, l, "after the end", 1) // somebody else's
	})
}

// TestAdmit_WritesHaveSlotsOfTheirOwn: where they do, neither keeps the other waiting.
func TestAdmit_WritesHaveSlotsOfTheirOwn(t *testing.T) {
	one := func() *limit.Limiter { return limit.New(limit.Options{Slots: 1, Waiters: 1}) }
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	for _, c := range []struct {
		name          string
		writes        *limit.Limiter
		busy          bool // the slots of all else
		method        string
		wantsAdmitted bool
	}{
		{"a write, beside a read", one(), true, pb.LogbookService_CreateEntry_FullMethodName, true},
		{"a read, with all else", one(), true, pb.PhaseService_Recommend_FullMethodName, false},
		{"a write, with all else", nil, true, pb.LogbookService_CreateEntry_FullMethodName, false},
		{"a write, with none", nil, false, pb.LogbookService_CreateEntry_FullMethodName, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			chain := Chain{Limiter: one(), Writes: c.writes}
			if c.busy {
				slot, err := chain.Limiter.Enter(t.Context(), limit.Work{Tenant: "other"})
				if err != nil {
					t.Fatal(err)
				}
				defer slot.Leave()
			}
			short, stop := context.WithTimeout(ctx, 20*time.Millisecond)
			defer stop()
			_, err := chain.admitUnary(short, nil, &grpc.UnaryServerInfo{FullMethod: c.method}, func(context.Context, any) (any, error) { return nil, nil })
			if (err == nil) != c.wantsAdmitted {
				t.Errorf("%v", err)
			}
		})
	}
}
