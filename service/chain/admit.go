package chain

import (
	"context"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/limit"
)

// stalled is how long an answer of a stream may take to be sent before the
// stream counts as one that waits for its reader, and gives its slot away.
const stalled = 20 * time.Millisecond

func (c Chain) admitUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if isOpen(info.FullMethod) {
		return handler(ctx, req)
	}
	work, limiter := workOf(ctx, info.FullMethod), c.Limiter
	if work.Priority == limit.Write && c.Writes != nil {
		limiter = c.Writes
	}
	slot, err := limiter.Enter(ctx, work)
	if err != nil {
		return nil, err
	}
	defer slot.Leave()
	return handler(ctx, req)
}

func (c Chain) admitStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if isOpen(info.FullMethod) {
		return handler(srv, ss)
	}
	s := &admittedStream{
		ServerStream: ss, limiter: c.Limiter, timeout: c.RequestTimeout,
		work: limit.Work{Tenant: access.From(ss.Context()).Tenant, Priority: limit.Bulk},
		both: info.IsClientStream && info.IsServerStream,
	}
	defer s.end()
	return handler(srv, s)
}

// workOf derives the priority of a call from the scope that its method
// declares, so that no method can be forgotten.
func workOf(ctx context.Context, fullMethod string) limit.Work {
	w := limit.Work{Tenant: access.From(ctx).Tenant, Priority: limit.Write}
	if policy, _ := access.PolicyOf(fullMethod); strings.HasSuffix(policy.Scope, ".read") {
		w.Priority = limit.Read
	}
	return w
}

// admittedStream has a slot only while there is something to do: where messages
// go both ways, from one that was received to the answer to it; otherwise from
// the first one received to the end, but not while its reader keeps it waiting.
// A handler may receive ahead; each answer is for the oldest message.
type admittedStream struct {
	grpc.ServerStream
	limiter *limit.Limiter
	work    limit.Work
	timeout time.Duration // longest wait for a slot
	both    bool

	mu      sync.Mutex
	owed    int // messages received and not answered
	slot    limit.Slot
	sending bool
	ended   bool
}

// RecvMsg implements grpc.ServerStream.
func (s *admittedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	s.mu.Lock()
	s.owed++
	idle := s.owed == 1
	s.mu.Unlock()
	if !idle {
		return nil
	}
	return s.enter()
}

// SendMsg implements grpc.ServerStream.
func (s *admittedStream) SendMsg(m any) error {
	if !s.both {
		return s.sendPart(m)
	}
	s.mu.Lock()
	s.owed = max(0, s.owed-1)
	more := s.owed > 0
	s.slot.Leave()
	s.mu.Unlock()
	if err := s.ServerStream.SendMsg(m); err != nil || !more {
		return err
	}
	return s.enter()
}

// sendPart sends one of many answers and keeps the slot meanwhile, unless it
// takes long.
func (s *admittedStream) sendPart(m any) error {
	s.during(true)
	timer := time.AfterFunc(stalled, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.sending {
			s.slot.Leave()
		}
	})
	err := s.ServerStream.SendMsg(m)
	timer.Stop()
	if s.during(false) || err != nil {
		return err
	}
	return s.enter()
}

// during notes that a part is being sent, or is no longer, and reports whether
// there is a slot.
func (s *admittedStream) during(sending bool) (working bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sending = sending
	return s.slot.Held()
}

// enter waits for a slot.
func (s *admittedStream) enter() error {
	ctx, cancel := context.WithTimeout(s.Context(), s.timeout)
	defer cancel()
	slot, err := s.limiter.Enter(ctx, s.work)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.slot = slot
	if s.ended { // a handler that receives ahead has returned meanwhile
		s.slot.Leave()
	}
	return nil
}

func (s *admittedStream) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
	s.slot.Leave()
}
