package gateway

import (
	"context"
	"net/http"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
)

// bodyTimeout bounds the reading of a body that does not stream.
const bodyTimeout = 30 * time.Second

// stallTimeout bounds how long one piece of an answer may wait for its reader.
const stallTimeout = 30 * time.Second

// backfillPath streams: its body has no end to speak of.
const backfillPath = "/v1/entries:backfill"

// headers sets what every answer carries: nothing here is for a browser to
// guess at, frame or keep.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		next.ServeHTTP(w, r)
	})
}

// unstalled ends an answer whose reader does not read: each piece of it gets so
// long, however many there are.
func unstalled(timeout time.Duration, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(&pieces{ResponseWriter: w, control: *http.NewResponseController(w), timeout: timeout}, r)
	})
}

type pieces struct {
	http.ResponseWriter
	control http.ResponseController
	timeout time.Duration
}

// Write implements http.ResponseWriter.
func (p *pieces) Write(b []byte) (int, error) {
	p.extend()
	return p.ResponseWriter.Write(b)
}

// Flush implements http.Flusher, which streams need.
func (p *pieces) Flush() {
	p.extend()
	_ = p.control.Flush() // the next write fails too
}

// Unwrap lets an http.ResponseController through.
func (p *pieces) Unwrap() http.ResponseWriter { return p.ResponseWriter }

// extend does nothing where the writer knows no deadlines, as in a recorder.
func (p *pieces) extend() { _ = p.control.SetWriteDeadline(time.Now().Add(p.timeout)) }

// authenticated turns strangers away before their body is read: decoding costs
// far more than checking a key, and a refusal must not depend on the body.
func authenticated(a access.Authenticator, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header := r.Header.Get("Authorization")
		p, err := a.Bearer(r.Context(), header)
		if err != nil {
			s, _ := fault.Status(err)
			writeProblem(w, s, 0)
			return
		}
		next.ServeHTTP(w, r.WithContext(withHeldAnswer(access.WithOpened(r.Context(), header, p))))
	})
}

// limited bounds what is read of a body.
func limited(maxBytes int, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case r.URL.Path == backfillPath:
			body := newLines(r.Body, maxBytes)
			defer body.serve(w)()
			r = r.WithContext(context.WithValue(r.Context(), linesKey{}, body))
			r.Body = body
		case r.Body == http.NoBody:
			// A deadline here would only end an answer that streams for longer.
		default:
			if r.ContentLength > int64(maxBytes) {
				writeProblem(w, tooLarge(), http.StatusRequestEntityTooLarge)
				return
			}
			// Whoever sends slowly must not hold a connection for ever.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyTimeout))
			r.Body = http.MaxBytesReader(w, r.Body, int64(maxBytes))
		}
		next.ServeHTTP(w, r)
	})
}

func tooLarge() *status.Status {
	return status.New(codes.ResourceExhausted, "the body is too large")
}
