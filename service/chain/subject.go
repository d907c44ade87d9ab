package chain

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

func (c Chain) subjectUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if policy, ok := access.PolicyOf(info.FullMethod); ok {
		if err := c.subject(ctx, policy, req); err != nil {
			return nil, err
		}
	}
	return handler(ctx, req)
}

func (c Chain) subjectStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if policy, ok := access.PolicyOf(info.FullMethod); ok {
		ss = &subjectStream{ServerStream: ss, chain: c, policy: policy}
	}
	return handler(srv, ss)
}

// subjectStream learns from its first message which trainee it is about.
type subjectStream struct {
	grpc.ServerStream
	chain  Chain
	policy access.Policy
	begun  bool
}

// RecvMsg implements grpc.ServerStream.
func (s *subjectStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	if s.begun {
		return stays(s.Context(), s.policy, m)
	}
	s.begun = true
	return s.chain.subject(s.Context(), s.policy, m)
}

// subject refuses a request that is not about the trainee whom the credential is
// bound to. Its caller hears what it would hear of a trainee that does not
// exist, be the other one there or not, and be the name well formed or not: so
// this comes before validation, and before the other's rate is touched.
func (c Chain) subject(ctx context.Context, policy access.Policy, req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return access.ErrForbidden // not a message of the contract
	}
	id, _ := policy.Trainee(m)
	if bound := access.From(ctx).Trainee; bound != "" && id != bound {
		return store.ErrNotFound
	}
	return c.traineeRate(ctx, id)
}

// stays refuses a later message of a stream that names another trainee than the
// credential is bound to. Most name none.
func stays(ctx context.Context, policy access.Policy, m any) error {
	bound := access.From(ctx).Trainee
	if bound == "" {
		return nil
	}
	if msg, ok := m.(proto.Message); ok {
		if id, named := policy.Trainee(msg); named && id != bound {
			return store.ErrNotFound
		}
	}
	return nil
}
