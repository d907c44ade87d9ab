package telemetry

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
	rpccode "google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
)

// GRPC returns the instrumentation library's handler, which gives each call of a
// gRPC server a span and its metrics.
func (t *Telemetry) GRPC() stats.Handler {
	return otelgrpc.NewServerHandler(
		otelgrpc.WithMeterProvider(t.Meters), otelgrpc.WithTracerProvider(t.Traces), otelgrpc.WithPropagators(t.Propagator),
		otelgrpc.WithFilter(filters.Not(filters.HealthCheck())))
}

// CallTimes measures the calls of a gRPC server when nobody asks for spans: the
// same metric under the same names as the library's handler, which costs a fifth
// of an empty call. A call counts from its first interceptor on, so a method that
// there is not is not counted.
type CallTimes struct {
	duration metric.Float64Histogram
	labels   sync.Map // method to *[codes]: as many as the server has methods
}

// codesOfGRPC is how many codes there are.
const codesOfGRPC = int(codes.Unauthenticated) + 1

// CallTimes returns interceptors that measure calls.
func (t *Telemetry) CallTimes() (*CallTimes, error) {
	h, err := t.Meters.Meter("steelyard").Float64Histogram("rpc.server.call.duration", // as semantic conventions name it, like the labels
		metric.WithDescription("Measures the duration of an incoming Remote Procedure Call (RPC)."), metric.WithUnit("s"), durations)
	if err != nil {
		return nil, fmt.Errorf("call duration: %w", err)
	}
	return &CallTimes{duration: h}, nil
}

// durations are the bounds of duration histograms, in seconds.
var durations = metric.WithExplicitBucketBoundaries(0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1, 2.5, 5, 7.5, 10)

// Unary is the interceptor of one-answer calls.
func (c *CallTimes) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	began := time.Now()
	resp, err := handler(ctx, req)
	c.record(ctx, info.FullMethod, began, err)
	return resp, err
}

// Stream is the interceptor of streams.
func (c *CallTimes) Stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	began := time.Now()
	err := handler(srv, ss)
	c.record(ss.Context(), info.FullMethod, began, err)
	return err
}

func (c *CallTimes) record(ctx context.Context, method string, began time.Time, err error) {
	if strings.HasPrefix(method, "/grpc.health.") { // a probe a second would outnumber all else
		return
	}
	code := int(status.Code(err))
	if code >= codesOfGRPC {
		code = int(codes.Unknown)
	}
	c.duration.Record(ctx, time.Since(began).Seconds(), c.of(method)[code]...)
}

// of returns the labels of a method by code, made ready: to sort and hash them
// for each call would cost more than the rest.
func (c *CallTimes) of(method string) *[codesOfGRPC][]metric.RecordOption {
	if l, ok := c.labels.Load(method); ok {
		return l.(*[codesOfGRPC][]metric.RecordOption)
	}
	l := &[codesOfGRPC][]metric.RecordOption{}
	for code := range l {
		name := rpccode.Code(code).String() // NOT_FOUND, where Go's says NotFound
		attrs := []attribute.KeyValue{
			attribute.String("rpc.system.name", "grpc"), attribute.String("rpc.method", strings.TrimPrefix(method, "/")),
			attribute.String("rpc.response.status_code", name),
		}
		if oursToMend[codes.Code(code)] {
			attrs = append(attrs, attribute.String("error.type", name))
		}
		l[code] = []metric.RecordOption{metric.WithAttributeSet(attribute.NewSet(attrs...))}
	}
	c.labels.Store(method, l)
	return l
}

// oursToMend are the codes that semantic conventions call errors of a server.
var oursToMend = map[codes.Code]bool{
	codes.Unknown: true, codes.DeadlineExceeded: true, codes.Unimplemented: true,
	codes.Internal: true, codes.Unavailable: true, codes.DataLoss: true,
}
