package service_test

import (
	"encoding/binary"
	"encoding/hex"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// scan looks for what the mine tenant's data hold, spelled as text or as a message
// spells numbers.
func scan(t *testing.T, where, text string) {
	t.Helper()
	if len(text) < 100 {
		t.Errorf("%s: nothing to look at", where)
	}
	low := strings.ToLower(text)
	for _, word := range secrets.words {
		if i := strings.Index(low, strings.ToLower(word)); i >= 0 {
			t.Errorf("%q is in %s: ...%q", word, where, text[max(0, i-300):min(len(text), i+60)])
		}
	}
	for _, n := range secrets.numbers {
		bits := binary.LittleEndian.AppendUint64(nil, math.Float64bits(n))
		for _, spelled := range []string{strconv.FormatFloat(n, 'g', -1, 64), string(bits)} {
			if i := strings.Index(text, spelled); i >= 0 {
				t.Errorf("%v is in %s: ...%q", n, where, text[max(0, i-300):min(len(text), i+60)])
			}
		}
	}
}

// discreet checks that the log and the metrics hold nothing of the mine tenant.
func (w *world) discreet(t *testing.T) {
	t.Helper()
	scan(t, "the log", w.log.String())
	scan(t, "the metrics", string(w.admin("GET", "/metrics").body))
}

func hexOf(s string) string { return hex.EncodeToString([]byte(s)) }

// traces takes the spans that services send, and shows them to check when these have ended.
type traces struct {
	mu    sync.Mutex
	got   strings.Builder
	check func(spans string)
}

// collectTraces makes services that start from now on send their spans here.
func collectTraces(t *testing.T) *traces {
	t.Helper()
	out := &traces{check: func(string) {}}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		out.mu.Lock()
		defer out.mu.Unlock()
		out.got.Write(b)
		w.WriteHeader(http.StatusOK)
	}))
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", s.URL)
	t.Setenv("OTEL_EXPORTER_OTLP_PROTOCOL", "http/protobuf")
	t.Setenv("OTEL_METRICS_EXPORTER", "none")
	t.Cleanup(func() { // after the services have closed, which sends the last of them
		s.Close()
		out.mu.Lock()
		defer out.mu.Unlock()
		out.check(out.got.String())
	})
	return out
}
