package telemetry

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
)

// paths are the HTTP paths of the contract, as patterns.
func paths(t *testing.T) []string {
	t.Helper()
	var out []string
	for _, file := range []protoreflect.FileDescriptor{
		pb.File_steelyard_v1_logbook_service_proto, pb.File_steelyard_v1_trend_service_proto,
		pb.File_steelyard_v1_phase_service_proto, pb.File_steelyard_v1_trainee_service_proto,
		pb.File_steelyard_v1_admin_service_proto,
	} {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				rule := proto.GetExtension(methods.Get(j).Options(), annotations.E_Http).(*annotations.HttpRule)
				path := rule.GetGet() + rule.GetPost() + rule.GetPatch() + rule.GetDelete() + rule.GetPut()
				if path == "" {
					t.Fatalf("%s has no path", methods.Get(j).FullName())
				}
				out = append(out, path)
			}
		}
	}
	return out
}

var variable = regexp.MustCompile(`\{[a-z_.]+=([^}]*)\}`)

// TestTemplate_EveryPathOfTheContract: each path keeps its words and loses its
// ids. A path whose words are not known here would be "/other" and fail.
func TestTemplate_EveryPathOfTheContract(t *testing.T) {
	for _, pattern := range paths(t) {
		pattern = variable.ReplaceAllString(pattern, "$1") // /v1/trainees/*/plans/*:recommend
		want := strings.ReplaceAll(pattern, "*", "{id}")
		for _, id := range []string{"canary-7", "recommend", "trainees", "entries", "v1", "2026-03-01-weigh-in-1", "%63anary-7"} {
			if got := template(strings.ReplaceAll(pattern, "*", id)); got != want {
				t.Errorf("id %q in %s: %s, want %s", id, pattern, got, want)
			}
		}
	}
}

func TestTemplate_HidesEverythingElse(t *testing.T) {
	for path, want := range map[string]string{
		"":                             "/other",
		"/":                            "/other",
		"/canary-7":                    "/other",
		"/v1":                          "/other",
		"/v1/":                         "/other",
		"/v2/trainees/canary-7":        "/other",
		"/v1/canary-7":                 "/other",
		"/v1/trainees/a/canary-7":      "/other",
		"/v1/trainees/a/canary-7/b":    "/other",
		"/v1/trainees/a:canary-7":      "/v1/trainees/{id}",
		"/v1/trainees/a:erase:canary":  "/v1/trainees/{id}",
		"/v1/trainees/canary-7/":       "/other",
		"/v1/trainees//plans":          "/v1/trainees/{id}/plans",
		"/v1/trainees/canary-7/plans/": "/v1/trainees/{id}/plans/{id}",
		"/v1/trainees/" + strings.Repeat("a", 400): "/other",
	} {
		if got := template(path); got != want {
			t.Errorf("%.60s: %s, want %s", path, got, want)
		}
	}
}

func FuzzTemplate(f *testing.F) {
	for _, s := range []string{"/v1/trainees/t1/plans/p1:recommend", "/v1/entries:backfill", "/", "/v1/trainees/canary"} {
		f.Add(s)
	}
	word := regexp.MustCompile(`^(v1|\{id\}(:[A-Za-z]+)?|other|[A-Za-z]+(:[A-Za-z]+)?|)$`)
	f.Fuzz(func(t *testing.T, path string) {
		got := template(path)
		for _, part := range strings.Split(got, "/") {
			name, _, _ := strings.Cut(part, ":")
			if !word.MatchString(part) || (name != "v1" && name != "other" && name != "{id}" && name != "" && !known[part] && !collections[part]) {
				t.Errorf("%q becomes %q", path, got)
			}
		}
	})
}

// TestHTTP_NoIDInSpansOrMetrics: a request with a canary wherever one fits
// leaves it in no span and no metric, and reaches its handler unchanged.
func TestHTTP_NoIDInSpansOrMetrics(t *testing.T) {
	spans := tracetest.NewInMemoryExporter()
	reader := sdkmetric.NewManualReader()
	tel := &Telemetry{
		Traces: sdktrace.NewTracerProvider(sdktrace.WithSyncer(spans)), Meters: sdkmetric.NewMeterProvider(sdkmetric.WithReader(reader)),
		Propagator: propagation.TraceContext{}, Tracing: true,
	}
	var seen []string
	h, err := tel.HTTP(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seen = append(seen, r.URL.String()+" "+r.RequestURI+" "+r.URL.EscapedPath())
		w.WriteHeader(http.StatusTeapot)
		_, _ = w.Write([]byte("canary-7"))
	}))
	if err != nil {
		t.Fatal(err)
	}
	const path = "/v1/trainees/canary-7/plans/canary-8:recommend?asOfDate=2026-03-01&x=canary-9"
	for _, target := range []string{path, "/v1/trainees/%63anary-7", "/canary-7", "/v1/canary-7/x"} {
		req := httptest.NewRequestWithContext(t.Context(), "GET", target, strings.NewReader(`{"note":"canary-7"}`))
		req.Header.Set("Traceparent", "00-0102030405060708090a0b0c0d0e0f10-0102030405060708-01")
		req.Header.Set("Authorization", "Bearer canary-7")
		req.Header.Set("X-Request-Id", "canary-7")
		req.Header.Set("Idempotency-Key", "canary-7")
		h.ServeHTTP(httptest.NewRecorder(), req)
	}
	// A verb that there is not is in its span's name as it came, and in no label.
	req := httptest.NewRequestWithContext(t.Context(), "CANARY-7", "/v1/trainees/a", nil)
	h.ServeHTTP(httptest.NewRecorder(), req)

	if want := path + " " + path + " /v1/trainees/canary-7/plans/canary-8:recommend"; seen[0] != want {
		t.Errorf("the handler sees %q, want %q", seen[0], want)
	}
	if want := "/v1/trainees/%63anary-7 /v1/trainees/%63anary-7 /v1/trainees/%63anary-7"; seen[1] != want {
		t.Errorf("the handler sees %q, want %q", seen[1], want)
	}
	if n := len(spans.GetSpans()); n != 5 {
		t.Fatalf("%d spans, want 5", n)
	}
	first := spans.GetSpans()[0]
	if first.Name != "GET /v1/trainees/{id}/plans/{id}:recommend" || first.SpanContext.TraceID().String() != "0102030405060708090a0b0c0d0e0f10" {
		t.Errorf("span %q of trace %v", first.Name, first.SpanContext.TraceID())
	}
	for _, s := range spans.GetSpans() {
		text := fmt.Sprintf("%s %v %v %v %v", s.Name, s.Attributes, s.Events, s.Status, s.Links)
		if s.Name != "CANARY-7 /v1/trainees/{id}" && strings.Contains(strings.ToLower(text), "anary-") {
			t.Errorf("a canary is in the span %s", text)
		}
	}
	var metrics metricdata.ResourceMetrics
	if err := reader.Collect(t.Context(), &metrics); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf("%+v", metrics)
	if !strings.Contains(text, "http.server.request.duration") {
		t.Errorf("no metric of requests in %s", text)
	}
	if strings.Contains(strings.ToLower(text), "anary-") {
		t.Errorf("a canary is in the metrics %s", text)
	}
}
