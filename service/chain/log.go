package chain

import (
	"context"
	"log/slog"
	"time"

	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
)

// logUnary writes one line a call. Neither the request nor the answer nor the
// error's text is in it: they may hold health values or a trainee's id.
func (c Chain) logUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	began := time.Now()
	resp, err := handler(ctx, req)
	c.line(ctx, info.FullMethod, began, err)
	return resp, err
}

func (c Chain) logStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	began := time.Now()
	err := handler(srv, ss)
	c.line(ss.Context(), info.FullMethod, began, err)
	return err
}

func (c Chain) line(ctx context.Context, method string, began time.Time, err error) {
	attrs := []slog.Attr{
		slog.String("method", method),
		slog.String("code", status.Code(err).String()),
		slog.Duration("took", time.Since(began)),
		slog.String("call_id", CallID(ctx)),
	}
	if sc := trace.SpanContextFromContext(ctx); sc.IsValid() {
		attrs = append(attrs, slog.String("trace_id", sc.TraceID().String()))
	}
	c.Log.LogAttrs(ctx, slog.LevelInfo, "call", attrs...)
}
