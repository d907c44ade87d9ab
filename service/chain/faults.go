package chain

import (
	"context"
	"log/slog"
	"strconv"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"example.com/steelyard/service/fault"
)

func (c Chain) faultsUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	resp, err := handler(ctx, req)
	if err != nil {
		// It fails outside a gRPC call only, where there is nobody to tell.
		return nil, c.told(ctx, info.FullMethod, err, func(md metadata.MD) { _ = grpc.SetTrailer(ctx, md) })
	}
	return resp, nil
}

func (c Chain) faultsStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := handler(srv, ss); err != nil {
		return c.told(ss.Context(), info.FullMethod, err, ss.SetTrailer)
	}
	return nil
}

// pushbackTrailer is where a gRPC client that retries by itself looks for when
// (gRFC A6).
const pushbackTrailer = "grpc-retry-pushback-ms"

// told returns what the caller is told, and puts into the trailer when a call
// that may be made again is welcome. An error that somebody has to look at
// is logged with its cause; those come from the store and from bugs and hold no
// health values.
func (c Chain) told(ctx context.Context, method string, err error, trail func(metadata.MD)) error {
	s, alarming := fault.Status(err)
	if after, ok := fault.RetryAfter(s); ok {
		trail(metadata.Pairs(pushbackTrailer, strconv.FormatInt(after.Milliseconds(), 10)))
	}
	if alarming {
		c.Log.LogAttrs(ctx, slog.LevelError, "call failed", slog.String("method", method),
			slog.String("call_id", CallID(ctx)), slog.String("cause", err.Error()))
	}
	return s.Err()
}
