package telemetry

import (
	"context"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"go.opentelemetry.io/otel/trace/noop"
	"go.uber.org/goleak"

	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/window"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// standard are the variables that this package listens to.
var standard = []string{
	"OTEL_SDK_DISABLED", "OTEL_METRICS_EXPORTER", "OTEL_TRACES_EXPORTER", "OTEL_EXPORTER_OTLP_ENDPOINT",
	"OTEL_EXPORTER_OTLP_METRICS_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_RESOURCE_ATTRIBUTES", "OTEL_SERVICE_NAME",
}

// environment sets the standard variables; what is not named is empty.
func environment(t *testing.T, set map[string]string) {
	t.Helper()
	for _, name := range standard {
		t.Setenv(name, set[name])
	}
}

func TestAsked(t *testing.T) {
	for _, c := range []struct {
		name            string
		env             map[string]string
		metrics, traces bool
	}{
		{"nothing", nil, false, false},
		{"an endpoint for all", map[string]string{"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}, true, true},
		{"blank endpoint", map[string]string{"OTEL_EXPORTER_OTLP_ENDPOINT": " "}, false, false},
		{"an endpoint for traces", map[string]string{"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": "http://127.0.0.1:1"}, false, true},
		{"an endpoint for metrics", map[string]string{"OTEL_EXPORTER_OTLP_METRICS_ENDPOINT": "http://127.0.0.1:1"}, true, false},
		{"an exporter for traces", map[string]string{"OTEL_TRACES_EXPORTER": "console"}, false, true},
		{"an exporter for metrics", map[string]string{"OTEL_METRICS_EXPORTER": "otlp"}, true, false},
		{"none beats an endpoint", map[string]string{"OTEL_TRACES_EXPORTER": "none", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}, true, false},
		{"disabled beats all", map[string]string{"OTEL_SDK_DISABLED": "true", "OTEL_TRACES_EXPORTER": "otlp", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			environment(t, c.env)
			if m, tr := asked("METRICS"), asked("TRACES"); m != c.metrics || tr != c.traces {
				t.Errorf("metrics %v, traces %v, want %v, %v", m, tr, c.metrics, c.traces)
			}
		})
	}
}

// TestNew_SendsNothingUnasked: with no variable set there is no trace at all and
// nothing but the registry that Prometheus reads, so nothing to send and no
// goroutine that would (TestMain looks for one).
func TestNew_SendsNothingUnasked(t *testing.T) {
	environment(t, nil)
	tel := open(t)
	if _, ok := tel.Traces.(noop.TracerProvider); !ok {
		t.Errorf("traces go to a %T", tel.Traces)
	}
	_, span := tel.Traces.Tracer("x").Start(t.Context(), "x")
	if span.IsRecording() || span.SpanContext().IsValid() {
		t.Error("a span is recorded")
	}
	if n := len(tel.closers); n != 1 {
		t.Errorf("%d things to close, want the meters alone", n)
	}
}

func TestNew_SendsWhenAsked(t *testing.T) {
	environment(t, map[string]string{"OTEL_TRACES_EXPORTER": "console"})
	tel := open(t)
	if _, ok := tel.Traces.(noop.TracerProvider); ok || len(tel.closers) != 2 {
		t.Errorf("traces go to a %T, %d things to close", tel.Traces, len(tel.closers))
	}
}

func TestNew_RefusesAnUnknownExporter(t *testing.T) {
	for _, name := range []string{"OTEL_TRACES_EXPORTER", "OTEL_METRICS_EXPORTER"} {
		environment(t, map[string]string{name: "carrier-pigeon"})
		if tel, err := New(t.Context(), "v"); err == nil || tel != nil || !strings.Contains(err.Error(), "exporter") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestMetrics_AreServed(t *testing.T) {
	environment(t, nil)
	tel := open(t)
	count, err := tel.WindowCounter()
	if err != nil {
		t.Fatal(err)
	}
	count(t.Context(), window.FromBag)
	count(t.Context(), window.FromBag)
	count(t.Context(), window.FromStore)
	w := httptest.NewRecorder()
	tel.Metrics.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), "GET", "/metrics", nil))
	body, err := io.ReadAll(w.Body)
	if err != nil || w.Code != 200 {
		t.Fatalf("%d, %v", w.Code, err)
	}
	got := map[string]string{}
	for line := range strings.Lines(string(body)) {
		if name, value, ok := strings.Cut(strings.TrimSpace(line), " "); ok && strings.HasPrefix(name, "steelyard_window_reads") {
			origin := name[strings.Index(name, `origin="`)+len(`origin="`):]
			got[origin[:strings.Index(origin, `"`)]] = value
		}
	}
	if len(got) != 2 || got["bag"] != "2" || got["store"] != "1" {
		t.Errorf("windows by origin %v\n%s", got, body)
	}
	for _, want := range []string{"go_memory_used_bytes", `service_name="steelyard"`, `service_version="v1.2.3-test"`} {
		if !strings.Contains(string(body), want) {
			t.Errorf("no %s in the metrics", want)
		}
	}
}

func TestCalls_AreCounted(t *testing.T) {
	environment(t, nil)
	tel := open(t)
	count, err := tel.CallCounter("call")
	if err != nil {
		t.Fatal(err)
	}
	if err := tel.WatchLoad(func() (int, int) { return 3, 5 }); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		count(t.Context(), limit.Admitted)
	}
	count(t.Context(), limit.QueueFull)
	lookups, err := tel.CallCounter("key_lookup")
	if err != nil {
		t.Fatal(err)
	}
	lookups(t.Context(), limit.Admitted)
	w := httptest.NewRecorder()
	tel.Metrics.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), "GET", "/metrics", nil))
	for _, want := range []string{
		`steelyard_calls_total{gate="call",outcome="admitted"} 2`, `steelyard_calls_total{gate="call",outcome="queue_full"} 1`,
		`steelyard_calls_total{gate="key_lookup",outcome="admitted"} 1`,
		"steelyard_calls_working 3", "steelyard_calls_waiting 5",
	} {
		if !strings.Contains(w.Body.String(), want+"\n") {
			t.Errorf("no %s in\n%s", want, w.Body)
		}
	}
}

func TestClose_MayBeCalledAgain(t *testing.T) {
	environment(t, nil)
	tel := open(t)
	if err := tel.Close(t.Context()); err != nil {
		t.Errorf("first: %v", err)
	}
	if err := tel.Close(t.Context()); err != nil {
		t.Errorf("again: %v", err)
	}
}

func open(t *testing.T) *Telemetry {
	t.Helper()
	tel, err := New(t.Context(), "v1.2.3-test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := tel.Close(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
	})
	return tel
}
