package chain

import (
	"context"

	"google.golang.org/grpc"
)

func (c Chain) deadlineUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, cancel := context.WithTimeout(ctx, c.RequestTimeout)
	defer cancel()
	return handler(ctx, req)
}
