package chain

import (
	"context"
	"log/slog"

	"google.golang.org/grpc"

	"example.com/steelyard/service/fault"
)

func (c Chain) faultsUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	resp, err := handler(ctx, req)
	if err != nil {
		return nil, c.told(ctx, info.FullMethod, err)
	}
	return resp, nil
}

func (c Chain) faultsStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := handler(srv, ss); err != nil {
		return c.told(ss.Context(), info.FullMethod, err)
	}
	return nil
}

// told returns what the caller is told. An error that somebody has to look at
// is logged with its cause; those come from the store and from bugs and hold no
// health values.
func (c Chain) told(ctx context.Context, method string, err error) error {
	s, alarming := fault.Status(err)
	if alarming {
		c.Log.LogAttrs(ctx, slog.LevelError, "call failed", slog.String("method", method),
			slog.String("call_id", CallID(ctx)), slog.String("cause", err.Error()))
	}
	return s.Err()
}
