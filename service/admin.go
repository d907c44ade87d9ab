package service

import (
	"context"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/reflection"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/admin"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/gateway"
	"example.com/steelyard/service/telemetry"
)

// readyTimeout bounds the probe of the store.
const readyTimeout = 2 * time.Second

// assembleAdmin builds the operators' server: AdminService by gRPC and by JSON behind
// the same interceptors as all else, the probes and the metrics, on one address. It
// is never on the public listeners.
func (a *App) assembleAdmin(ctx context.Context, c chain.Chain, tel *telemetry.Telemetry, pages call.Pager) error {
	unary, stream := chain.JoinUnary(c.Unary()), chain.JoinStream(c.Stream())
	a.adminGRPC = grpc.NewServer(grpc.MaxRecvMsgSize(a.cfg.MaxBodyBytes), grpc.ForceServerCodecV2(chain.Codec()), grpc.UnaryInterceptor(unary), grpc.StreamInterceptor(stream))
	inside := gateway.NewInside(unary, stream)
	for _, r := range []grpc.ServiceRegistrar{a.adminGRPC, inside} {
		pb.RegisterAdminServiceServer(r, &admin.Server{Store: a.store, Pages: pages, Pepper: a.keyring.pepper, Now: time.Now, Ended: a.keys.Forget})
	}
	if a.cfg.Reflection {
		reflection.Register(a.adminGRPC)
	}
	json, err := gateway.NewAdmin(ctx, inside, gateway.Options{Authenticator: c.Authenticator, MaxBodyBytes: a.cfg.MaxBodyBytes})
	if err != nil {
		return err
	}
	measured, err := tel.HTTP(json)
	if err != nil {
		return err
	}
	a.admin = bounds.http(a.byProtocol(a.adminHandler(tel.Metrics, measured)))
	a.admin.ReadTimeout, a.admin.WriteTimeout = bounds.admin, bounds.admin
	a.admin.HTTP2 = &http.HTTP2Config{MaxConcurrentStreams: int(bounds.streams)}
	a.admin.Protocols = &http.Protocols{}
	a.admin.Protocols.SetHTTP1(true)
	a.admin.Protocols.SetHTTP2(true) // where the listener does TLS
	a.admin.Protocols.SetUnencryptedHTTP2(true)
	return nil
}

// byProtocol gives gRPC calls to the gRPC server.
func (a *App) byProtocol(rest http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.ProtoMajor == 2 && strings.HasPrefix(r.Header.Get("Content-Type"), "application/grpc") {
			a.adminGRPC.ServeHTTP(w, r)
			return
		}
		rest.ServeHTTP(w, r)
	})
}

// adminHandler serves what operators ask by HTTP.
func (a *App) adminHandler(metrics, json http.Handler) http.Handler {
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
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/v1/") { // not by the mux, which answers /v1//apiKeys with a redirect
			json.ServeHTTP(w, r)
			return
		}
		mux.ServeHTTP(w, r)
	})
}

func say(w http.ResponseWriter, status int, sentence string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(sentence + "\n"))
}
