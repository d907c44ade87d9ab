package chain

import (
	"context"
	"log/slog"
	"time"

	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
)

// slow is how long a call takes at least that is worth a line although it went well.
const slow = time.Second

// logUnary writes a line about a call. Neither the request nor the answer nor the
// error's text is in it: they may hold health values or a trainee's id.
func (c Chain) logUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	began := time.Now()
	resp, err := handler(ctx, req)
	c.line(ctx, info.FullMethod, time.Since(began), err)
	return resp, err
}

func (c Chain) logStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	began := time.Now()
	err := handler(srv, ss)
	c.line(ss.Context(), info.FullMethod, time.Since(began), err)
	return err
}

// line writes at the level debug about what went well and quickly, which the
// metrics count, and at info about the rest: a line a call costs a good part of
// what the call does.
func (c Chain) line(ctx context.Context, method string, took time.Duration, err error) {
	level := slog.LevelInfo
	if err == nil && took < slow {
		level = slog.LevelDebug
	}
	if !c.Log.Enabled(ctx, level) {
		return
	}
	attrs := []slog.Attr{
		slog.String("method", method),
		slog.String("code", status.Code(err).String()),
		slog.Duration("took", took),
		slog.String("call_id", CallID(ctx)),
	}
	if sc := trace.SpanContextFromContext(ctx); sc.IsValid() {
		attrs = append(attrs, slog.String("trace_id", sc.TraceID().String()))
	}
	c.Log.LogAttrs(ctx, level, "call", attrs...)
}
