package chain

import (
	"context"
	"time"

	"google.golang.org/grpc"
)

func (c Chain) deadlineUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if at, ok := ctx.Deadline(); ok && time.Until(at) <= c.RequestTimeout { // the caller's own is sooner
		return handler(ctx, req)
	}
	ctx, cancel := context.WithTimeout(ctx, c.RequestTimeout)
	defer cancel()
	return handler(ctx, req)
}
