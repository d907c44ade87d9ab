package telemetry

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"go.opentelemetry.io/contrib/instrumentation/net/http/otelhttp"
)

type trueURLKey struct{}

// HTTP measures each request, and gives it a span when spans are asked for.
func (t *Telemetry) HTTP(next http.Handler) (http.Handler, error) {
	if t.Tracing {
		return t.traced(next), nil
	}
	return t.timed(next)
}

// traced is the instrumentation library's way, with a span and more metrics. It
// records the path; ours holds trainee ids, so it is shown a path without them.
func (t *Telemetry) traced(next http.Handler) http.Handler {
	measured := otelhttp.NewHandler(
		http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			u, _ := r.Context().Value(trueURLKey{}).(*url.URL)
			r = r.WithContext(r.Context())
			r.URL, r.RequestURI = u, u.RequestURI()
			next.ServeHTTP(w, r)
		}), "json",
		otelhttp.WithMeterProvider(t.Meters), otelhttp.WithTracerProvider(t.Traces), otelhttp.WithPropagators(t.Propagator),
		otelhttp.WithSpanNameFormatter(func(_ string, r *http.Request) string { return r.Method + " " + r.URL.Path }))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		shown := r.WithContext(context.WithValue(r.Context(), trueURLKey{}, r.URL))
		shown.URL = &url.URL{Path: template(r.URL.Path)}
		shown.RequestURI = shown.URL.Path
		measured.ServeHTTP(w, shown)
	})
}

// collections are the path segments that an id follows.
var collections = map[string]bool{"trainees": true, "entries": true, "plans": true, "decisions": true, "apiKeys": true}

// template replaces the ids of a path: /v1/trainees/t1/plans/p1:recommend
// becomes /v1/trainees/{id}/plans/{id}:recommend. A path that is none of ours
// becomes one word, so that strangers cannot make labels.
func template(path string) string {
	if !strings.HasPrefix(path, "/v1/") || len(path) > 400 {
		return "/other"
	}
	parts := strings.Split(path, "/")
	for i := 2; i < len(parts); i++ {
		switch {
		case collections[parts[i-1]]:
			_, verb, found := strings.Cut(parts[i], ":")
			parts[i] = "{id}"
			if found && known[verb] {
				parts[i] += ":" + verb
			}
		case !known[parts[i]] && !collections[parts[i]]:
			return "/other"
		}
	}
	return strings.Join(parts, "/")
}

// known are the other words of our paths.
var known = map[string]bool{
	"recommend": true, "forecast": true, "timeline": true, "compare": true, "export": true, "erase": true, "weightTrend": true, "energyBalance": true,
	"rotate": true, "revoke": true, "retention": true, "auditRecords": true,
	"strengthTrend": true, "dueReviews": true, "entries:batchCreate": true, "entries:backfill": true,
}
