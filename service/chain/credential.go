package chain

import (
	"context"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
)

func (c Chain) credentialUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, err := c.authenticated(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (c Chain) credentialStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	ctx, err := c.authenticated(ss.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	return handler(srv, inContext{ss, ctx})
}

func (c Chain) authenticated(ctx context.Context, fullMethod string) (context.Context, error) {
	if isOpen(fullMethod) {
		return ctx, nil
	}
	header := first(ctx, "authorization")
	if p, ok := access.Opened(ctx, header); ok { // the gateway has asked already
		return access.With(ctx, p), nil
	}
	p, err := c.Authenticator.Bearer(ctx, header)
	if err != nil {
		return ctx, err
	}
	return access.With(ctx, p), nil
}
