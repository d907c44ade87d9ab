package telemetry

import (
	"fmt"
	"net/http"
	"sync"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
)

// timed measures requests by the name that semantic conventions give, with fewer
// labels than the instrumentation library: the host is the caller's own word and
// the protocol says nothing.
func (t *Telemetry) timed(next http.Handler) (http.Handler, error) {
	h, err := t.Meters.Meter("steelyard").Float64Histogram("http.server.request.duration",
		metric.WithDescription("Duration of HTTP server requests."), metric.WithUnit("s"), durations)
	if err != nil {
		return nil, fmt.Errorf("request duration: %w", err)
	}
	labels := &httpLabels{known: map[httpOutcome][]metric.RecordOption{}}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began, answer := time.Now(), &statusWriter{ResponseWriter: w}
		next.ServeHTTP(answer, r)
		h.Record(r.Context(), time.Since(began).Seconds(), labels.of(httpOutcome{verb(r.Method), answer.code()})...)
	}), nil
}

// statusWriter remembers the status of an answer.
type statusWriter struct {
	http.ResponseWriter
	status int
}

// WriteHeader implements http.ResponseWriter.
func (w *statusWriter) WriteHeader(status int) {
	if w.status == 0 && status >= 200 { // what comes before is no answer yet
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets an http.ResponseController through.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *statusWriter) code() int {
	if w.status == 0 {
		return http.StatusOK
	}
	return w.status
}

// httpOutcome is what requests are told apart by.
type httpOutcome struct {
	verb   string
	status int
}

// verb is a method of HTTP, or one word for all others.
func verb(method string) string {
	switch method {
	case http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete, http.MethodPut, http.MethodHead, http.MethodOptions, http.MethodTrace, http.MethodConnect:
		return method
	}
	return "_OTHER"
}

// httpLabels are the labels of outcomes, made ready once each.
type httpLabels struct {
	mu    sync.RWMutex
	known map[httpOutcome][]metric.RecordOption
}

func (l *httpLabels) of(o httpOutcome) []metric.RecordOption {
	l.mu.RLock()
	options, ok := l.known[o]
	l.mu.RUnlock()
	if ok {
		return options
	}
	options = []metric.RecordOption{metric.WithAttributeSet(attribute.NewSet(
		attribute.String("http.request.method", o.verb), attribute.Int("http.response.status_code", o.status), attribute.String("url.scheme", "http")))}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.known[o] = options
	return options
}
