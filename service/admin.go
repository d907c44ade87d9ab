package service

import (
	"context"
	"net/http"
	"time"
)

// readyTimeout bounds the probe of the store.
const readyTimeout = 2 * time.Second

// adminHandler serves what operators ask: never on the public listeners.
func (a *App) adminHandler(metrics http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", metrics)
	mux.HandleFunc("GET /livez", func(w http.ResponseWriter, _ *http.Request) { say(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-a.drain:
			say(w, http.StatusServiceUnavailable, "stopping")
			return
		default:
		}
		ctx, cancel := context.WithTimeout(r.Context(), readyTimeout)
		defer cancel()
		if err := a.store.Ping(ctx); err != nil {
			a.log.ErrorContext(ctx, "not ready", "cause", err.Error())
			say(w, http.StatusServiceUnavailable, "the store does not answer")
			return
		}
		say(w, http.StatusOK, "ready")
	})
	return mux
}

func say(w http.ResponseWriter, status int, sentence string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(sentence + "\n"))
}
