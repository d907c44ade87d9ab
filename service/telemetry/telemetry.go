// Package telemetry sets up metrics and traces. Metrics are always there for
// Prometheus to read, on a registry of our own; anything is sent elsewhere only
// when a variable of OpenTelemetry's standard (OTEL_...) asks for it. No health
// value, no trainee id and no body is in any of them.
package telemetry

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"go.opentelemetry.io/contrib/exporters/autoexport"
	"go.opentelemetry.io/contrib/instrumentation/runtime"
	"go.opentelemetry.io/otel/attribute"
	otelprometheus "go.opentelemetry.io/otel/exporters/prometheus"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"

	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
)

// cardinalityLimit bounds the label sets of one instrument.
const cardinalityLimit = 2000

// Telemetry is where the rest of the service reports to.
type Telemetry struct {
	Meters     metric.MeterProvider
	Traces     trace.TracerProvider
	Tracing    bool // spans are asked for
	Propagator propagation.TextMapPropagator
	Metrics    http.Handler // what Prometheus reads

	closers []func(context.Context) error
}

// New sets everything up. version is what the resource says of us.
func New(ctx context.Context, version string) (_ *Telemetry, err error) {
	t := &Telemetry{Traces: noop.NewTracerProvider(), Propagator: propagation.TraceContext{}}
	defer func() {
		if err != nil {
			err = errors.Join(err, t.Close(ctx))
		}
	}()
	res, err := resource.New(ctx, resource.WithAttributes(
		attribute.String("service.name", "steelyard"), attribute.String("service.version", version)),
		resource.WithFromEnv(), resource.WithTelemetrySDK())
	if err != nil {
		return nil, fmt.Errorf("telemetry resource: %w", err)
	}

	registry := prometheus.NewRegistry()
	reader, err := otelprometheus.New(otelprometheus.WithRegisterer(registry), otelprometheus.WithoutScopeInfo())
	if err != nil {
		return nil, fmt.Errorf("prometheus reader: %w", err)
	}
	metricOptions := []sdkmetric.Option{sdkmetric.WithResource(res), sdkmetric.WithReader(reader), sdkmetric.WithCardinalityLimit(cardinalityLimit)}
	if asked("METRICS") {
		pushed, err := autoexport.NewMetricReader(ctx)
		if err != nil {
			return nil, fmt.Errorf("metrics exporter: %w", err)
		}
		metricOptions = append(metricOptions, sdkmetric.WithReader(pushed))
	}
	meters := sdkmetric.NewMeterProvider(metricOptions...)
	t.Meters = meters
	t.closers = append(t.closers, meters.Shutdown)
	t.Metrics = promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
	if err := runtime.Start(runtime.WithMeterProvider(meters)); err != nil {
		return nil, fmt.Errorf("runtime metrics: %w", err)
	}

	if asked("TRACES") {
		exporter, err := autoexport.NewSpanExporter(ctx)
		if err != nil {
			return nil, fmt.Errorf("trace exporter: %w", err)
		}
		traces := sdktrace.NewTracerProvider(sdktrace.WithResource(res), sdktrace.WithBatcher(exporter))
		t.Traces, t.Tracing = traces, true
		t.closers = append(t.closers, traces.Shutdown)
	}
	return t, nil
}

// asked reports whether a standard variable asks for a signal to be sent. The
// exporter package itself would send to localhost when nothing is set.
func asked(signal string) bool {
	if os.Getenv("OTEL_SDK_DISABLED") == "true" || os.Getenv("OTEL_"+signal+"_EXPORTER") == "none" {
		return false
	}
	for _, name := range []string{"OTEL_" + signal + "_EXPORTER", "OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_" + signal + "_ENDPOINT"} {
		if strings.TrimSpace(os.Getenv(name)) != "" {
			return true
		}
	}
	return false
}

// WindowCounter counts how windows are served.
func (t *Telemetry) WindowCounter() (window.Counter, error) {
	c, err := t.Meters.Meter("steelyard").Int64Counter("steelyard.window.reads",
		metric.WithDescription("Windows read, by where they came from."), metric.WithUnit("{window}"))
	if err != nil {
		return nil, fmt.Errorf("window counter: %w", err)
	}
	by := func(origin string) []metric.AddOption { // made once: each call has one
		return []metric.AddOption{metric.WithAttributeSet(attribute.NewSet(attribute.String("origin", origin)))}
	}
	from := map[window.Origin][]metric.AddOption{window.FromStore: by("store"), window.FromBag: by("bag")}
	return func(ctx context.Context, o window.Origin) { c.Add(ctx, 1, from[o]...) }, nil
}

// BagCounter counts what happens to the shared bag.
func (t *Telemetry) BagCounter() (redisbag.Counter, error) {
	c, err := t.Meters.Meter("steelyard").Int64Counter("steelyard.bag.events",
		metric.WithDescription("What happened to the bag of windows in Redis. It changes speed, never an answer."), metric.WithUnit("{event}"))
	if err != nil {
		return nil, fmt.Errorf("bag counter: %w", err)
	}
	return func(ctx context.Context, e redisbag.Event) {
		c.Add(ctx, 1, metric.WithAttributes(attribute.String("event", e.String())))
	}, nil
}

// RateCounter counts what decided on the shared rates.
func (t *Telemetry) RateCounter() (func(context.Context, limit.RedisEvent), error) {
	c, err := t.Meters.Meter("steelyard").Int64Counter("steelyard.rate.events",
		metric.WithDescription("What decided whether a key or a trainee calls too often: Redis for all replicas, or this one alone."), metric.WithUnit("{event}"))
	if err != nil {
		return nil, fmt.Errorf("rate counter: %w", err)
	}
	return func(ctx context.Context, e limit.RedisEvent) {
		c.Add(ctx, 1, metric.WithAttributes(attribute.String("event", string(e))))
	}, nil
}

// MismatchCounter counts windows from a bag that were not what the store has at
// the same revision. It has to stay 0.
func (t *Telemetry) MismatchCounter() (func(context.Context), error) {
	c, err := t.Meters.Meter("steelyard").Int64Counter("steelyard.window.mismatches",
		metric.WithDescription("Checked windows from a bag that differed from the store's at the same revision. Has to stay 0."), metric.WithUnit("{window}"))
	if err != nil {
		return nil, fmt.Errorf("mismatch counter: %w", err)
	}
	c.Add(context.Background(), 0) // there from the start, so that an alert can rest on it
	return func(ctx context.Context) { c.Add(ctx, 1) }, nil
}

// AheadCounters count what is made ready after a write, before anybody asks: windows
// loaded, and recommendations computed of them.
func (t *Telemetry) AheadCounters() (windows, answers func(context.Context), err error) {
	counter := func(name, description, unit string) func(context.Context) {
		c, failed := t.Meters.Meter("steelyard").Int64Counter(name, metric.WithDescription(description), metric.WithUnit(unit))
		err = errors.Join(err, failed)
		return func(ctx context.Context) { c.Add(ctx, 1) }
	}
	windows = counter("steelyard.window.ahead", "Windows loaded after a write that outdated one in use, before anybody asked.", "{window}")
	answers = counter("steelyard.answer.ahead", "Recommendations computed of such windows, where the last one had rested on the state before.", "{answer}")
	return windows, answers, err
}

// CallCounter counts what was decided on the calls at one gate. Neither tenant
// nor trainee is in it. Every call passes, so it adds to a number of its own that
// is looked at when metrics are read.
func (t *Telemetry) CallCounter(gate string) (limit.Counter, error) {
	m := t.Meters.Meter("steelyard")
	c, err := m.Int64ObservableCounter("steelyard.calls",
		metric.WithDescription("Calls and batches, by gate: admitted, or why they were refused."), metric.WithUnit("{call}"))
	if err != nil {
		return nil, fmt.Errorf("call counter: %w", err)
	}
	var counts sync.Map // limit.Outcome to *atomic.Int64
	_, err = m.RegisterCallback(func(_ context.Context, o metric.Observer) error {
		counts.Range(func(outcome, n any) bool {
			o.ObserveInt64(c, n.(*atomic.Int64).Load(),
				metric.WithAttributes(attribute.String("gate", gate), attribute.String("outcome", string(outcome.(limit.Outcome)))))
			return true
		})
		return nil
	}, c)
	if err != nil {
		return nil, fmt.Errorf("call counter: %w", err)
	}
	return func(_ context.Context, o limit.Outcome) {
		n, ok := counts.Load(o)
		if !ok {
			n, _ = counts.LoadOrStore(o, new(atomic.Int64))
		}
		n.(*atomic.Int64).Add(1)
	}, nil
}

// WatchLoad shows how much is being worked on and how much waits for that.
func (t *Telemetry) WatchLoad(load func() (working, waiting int)) error {
	m := t.Meters.Meter("steelyard")
	working, err := m.Int64ObservableGauge("steelyard.calls.working", metric.WithDescription("Calls and batches being worked on."), metric.WithUnit("{call}"))
	if err != nil {
		return fmt.Errorf("load gauge: %w", err)
	}
	waiting, err := m.Int64ObservableGauge("steelyard.calls.waiting", metric.WithDescription("Calls and batches that wait to be worked on."), metric.WithUnit("{call}"))
	if err != nil {
		return fmt.Errorf("load gauge: %w", err)
	}
	_, err = m.RegisterCallback(func(_ context.Context, o metric.Observer) error {
		now, queued := load()
		o.ObserveInt64(working, int64(now))
		o.ObserveInt64(waiting, int64(queued))
		return nil
	}, working, waiting)
	if err != nil {
		return fmt.Errorf("load gauge: %w", err)
	}
	return nil
}

// Close sends what is left and stops.
func (t *Telemetry) Close(ctx context.Context) error {
	var errs []error
	for i := len(t.closers) - 1; i >= 0; i-- {
		errs = append(errs, t.closers[i](ctx))
	}
	t.closers = nil
	return errors.Join(errs...)
}
