package telemetry

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"
	"go.opentelemetry.io/otel/trace/noop"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
)

// reading is a Telemetry of our own metrics alone, and their reader.
func reading() (*Telemetry, *sdkmetric.ManualReader) {
	reader := sdkmetric.NewManualReader()
	return &Telemetry{Meters: sdkmetric.NewMeterProvider(sdkmetric.WithReader(reader)), Traces: noop.NewTracerProvider()}, reader
}

// points are the points of a duration histogram with name, unit, bounds, labels and count.
func points(t *testing.T, reader *sdkmetric.ManualReader, name string) []string {
	t.Helper()
	var all metricdata.ResourceMetrics
	if err := reader.Collect(t.Context(), &all); err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, s := range all.ScopeMetrics {
		for _, m := range s.Metrics {
			h, ok := m.Data.(metricdata.Histogram[float64])
			if !ok || m.Name != name {
				continue
			}
			for _, p := range h.DataPoints {
				var labels []string
				for _, kv := range p.Attributes.ToSlice() {
					labels = append(labels, fmt.Sprintf("%s=%s", kv.Key, kv.Value.Emit()))
				}
				out = append(out, fmt.Sprintf("%s %s %q %v %s: %d", m.Name, m.Unit, m.Description, p.Bounds, strings.Join(labels, " "), p.Count))
			}
		}
	}
	slices.Sort(out)
	return out
}

// coded answers with the code that its request names.
type coded struct {
	pb.UnimplementedTraineeServiceServer
}

func (coded) GetTrainee(_ context.Context, req *pb.GetTraineeRequest) (*pb.Trainee, error) {
	return &pb.Trainee{}, status.Error(codes.Code(len(req.GetName())), "no")
}

func (coded) ExportTrainee(req *pb.ExportTraineeRequest, _ grpc.ServerStreamingServer[pb.ExportTraineeResponse]) error {
	return status.Error(codes.Code(len(req.GetName())), "no")
}

// TestCallTimes_AsTheLibraryMeasures: of the same calls, with every code, our
// interceptors and the instrumentation library's handler make the same points
// under the same names.
func TestCallTimes_AsTheLibraryMeasures(t *testing.T) {
	ours, ourReader := reading()
	theirs, theirReader := reading()
	times, err := ours.CallTimes()
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer(grpc.UnaryInterceptor(times.Unary), grpc.StreamInterceptor(times.Stream), grpc.StatsHandler(theirs.GRPC()))
	pb.RegisterTraineeServiceServer(server, coded{})
	healthpb.RegisterHealthServer(server, health.NewServer())
	listener, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	client := pb.NewTraineeServiceClient(conn)
	for code := range codes.Unauthenticated + 1 {
		for range code%2 + 1 {
			name := strings.Repeat("x", int(code))
			if _, err := client.GetTrainee(t.Context(), &pb.GetTraineeRequest{Name: name}); status.Code(err) != code {
				t.Errorf("%v: %v", code, err)
			}
			s, err := client.ExportTrainee(t.Context(), &pb.ExportTraineeRequest{Name: name})
			if err != nil {
				t.Fatal(err)
			}
			_, _ = s.Recv()
		}
	}
	if _, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{}); err != nil {
		t.Error(err)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	server.GracefulStop()
	if err := <-served; err != nil {
		t.Error(err)
	}
	got, want := points(t, ourReader, "rpc.server.call.duration"), points(t, theirReader, "rpc.server.call.duration")
	if len(want) != 2*17 || !slices.Equal(got, want) {
		t.Errorf("%d points\n%s\nwant %d\n%s", len(got), strings.Join(got, "\n"), len(want), strings.Join(want, "\n"))
	}
}

// TestTimed_ByVerbAndStatus: the same metric as the instrumentation library's, of
// labels that no caller can multiply.
func TestTimed_ByVerbAndStatus(t *testing.T) {
	tel, reader := reading()
	h, err := tel.HTTP(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.Header.Get("Want") {
		case "404":
			w.WriteHeader(http.StatusNotFound)
			w.WriteHeader(http.StatusTeapot) // too late
		case "103":
			w.WriteHeader(http.StatusEarlyHints)
			_, _ = w.Write([]byte("canary"))
		case "flush":
			if err := http.NewResponseController(w).Flush(); err != nil {
				t.Error(err)
			}
		}
	}))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]string{{"GET", ""}, {"GET", "103"}, {"GET", "flush"}, {"GET", "404"}, {"POST", "404"}, {"CANARY", ""}, {"canary", ""}} {
		req := httptest.NewRequestWithContext(t.Context(), c[0], "http://canary/canary?canary", nil)
		req.Header.Set("Want", c[1])
		h.ServeHTTP(httptest.NewRecorder(), req)
	}
	var got []string
	for _, p := range points(t, reader, "http.server.request.duration") {
		_, labels, _ := strings.Cut(p, "] ")
		got = append(got, labels)
		if !strings.HasPrefix(p, `http.server.request.duration s "Duration of HTTP server requests." [0.005 0.01 0.025 `) {
			t.Errorf("%s", p)
		}
	}
	slices.Sort(got)
	want := []string{
		"http.request.method=GET http.response.status_code=200 url.scheme=http: 3", "http.request.method=GET http.response.status_code=404 url.scheme=http: 1",
		"http.request.method=POST http.response.status_code=404 url.scheme=http: 1", "http.request.method=_OTHER http.response.status_code=200 url.scheme=http: 2",
	}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
