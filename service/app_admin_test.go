package service_test

import (
	"strings"
	"testing"

	pb "example.com/steelyard/api/steelyard/v1"
)

// admin asks the operators' listener.
func (r *running) admin(method, path string) answer {
	r.t.Helper()
	return r.httpTo(r.app.AdminAddress(), "", method, path, "")
}

func TestAdmin_ProbesAndMetrics(t *testing.T) {
	r := start(t)
	r.tell(t, "t1")
	for range 2 {
		if _, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(12)}); err != nil {
			t.Fatal(err)
		}
	}
	if got := r.http(r.token, "GET", "/v1/trainees/t1/weightTrend", ""); got.status != 200 {
		t.Fatalf("%d %s", got.status, got.body)
	}
	for path, want := range map[string]string{"/livez": "alive\n", "/readyz": "ready\n"} {
		if got := r.admin("GET", path); got.status != 200 || string(got.body) != want {
			t.Errorf("%s: %d %s", path, got.status, got.body)
		}
	}
	for path, want := range map[string]int{"/": 404, "/debug/pprof/": 404, "/v1/trainees/t1": 401} {
		if got := r.admin("GET", path); got.status != want {
			t.Errorf("%s: %d %s", path, got.status, got.body)
		}
	}
	if got := r.httpTo(r.app.AdminAddress(), r.token, "GET", "/v1/trainees/t1", ""); got.status != 404 {
		t.Errorf("a trainee on the admin listener: %d %s", got.status, got.body)
	}
	if got := r.admin("POST", "/readyz"); got.status != 405 {
		t.Errorf("POST: %d %s", got.status, got.body)
	}
	metrics := string(r.admin("GET", "/metrics").body)
	for _, want := range []string{
		"rpc_server_call_duration_seconds_count{", `rpc_method="steelyard.v1.PhaseService/Recommend"`, "http_server_request_duration_seconds_count{",
		`steelyard_window_reads_total{origin="bag"}`, `steelyard_window_reads_total{origin="store"}`, "go_goroutine_count",
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("no %s in the metrics", want)
		}
	}
	// The public listener has none of it.
	for _, path := range []string{"/metrics", "/livez", "/readyz"} {
		if got := r.http(r.token, "GET", path, ""); got.status != 404 {
			t.Errorf("%s on the public listener: %d %s", path, got.status, got.body)
		}
	}
}

// TestAdmin_NotReadyWithoutAStore: the probe says so in one sentence, the log has the cause.
func TestAdmin_NotReadyWithoutAStore(t *testing.T) {
	r := start(t)
	if err := r.app.Keyring().Close(); err != nil {
		t.Fatal(err)
	}
	got := r.admin("GET", "/readyz")
	if got.status != 503 || string(got.body) != "the store does not answer\n" {
		t.Errorf("%d %s", got.status, got.body)
	}
	if !strings.Contains(r.log.String(), `"not ready"`) || !strings.Contains(r.log.String(), `"cause":`) {
		t.Errorf("logged %s", r.log)
	}
	if got := r.admin("GET", "/livez"); got.status != 200 {
		t.Errorf("/livez: %d %s", got.status, got.body)
	}
}
