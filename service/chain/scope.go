package chain

import (
	"context"
	"strings"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
)

func scopeUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := allowed(ctx, info.FullMethod); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func scopeStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := allowed(ss.Context(), info.FullMethod); err != nil {
		return err
	}
	return handler(srv, ss)
}

// isOpen reports whether a method belongs to grpc's own health or reflection
// service, which hold no data and which everybody may call.
func isOpen(fullMethod string) bool {
	return strings.HasPrefix(fullMethod, "/grpc.health.v1.Health/") || strings.HasPrefix(fullMethod, "/grpc.reflection.")
}

// allowed refuses a method that declares no scope, whoever calls, and one that
// is not about one trainee to a credential that is bound to one.
func allowed(ctx context.Context, fullMethod string) error {
	if isOpen(fullMethod) {
		return nil
	}
	policy, ok := access.PolicyOf(fullMethod)
	p := access.From(ctx)
	switch {
	case !ok || !p.May(policy.Scope):
		return access.ErrForbidden
	case p.Trainee != "" && !policy.AboutOne():
		return access.ErrBound
	}
	return nil
}
