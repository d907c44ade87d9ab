// Package service puts Steelyard together: store, window source, the
// services behind one interceptor chain, the JSON gateway and telemetry.
package service

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// App is an assembled Steelyard.
type App struct {
	cfg     Config
	log     *slog.Logger
	store   store.Store
	keyring *Keyring
	keys    *access.Remembered // as callers present them

	certificates *certificates // nil: no TLS

	grpc      *grpc.Server
	health    *health.Server
	json      *http.Server
	admin     *http.Server
	adminGRPC *grpc.Server  // behind admin
	drain     chan struct{} // closed when streams have to end
	draining  sync.Once

	grpcListener, jsonListener, adminListener net.Listener

	names  trail.Names // of the erased
	uses   *access.Uses
	forget func(context.Context, store.Scope) // drops what bags hold

	closers closers
}

// Option changes what New assembles; for tests and the demo.
type Option func(*App)

// WithLog sends the log elsewhere than to standard error.
func WithLog(l *slog.Logger) Option { return func(a *App) { a.log = l } }

// New opens everything that cfg names and listens, but serves nothing yet.
// On an error everything that was opened is closed again.
func New(ctx context.Context, cfg Config, opts ...Option) (_ *App, err error) {
	cfg = cfg.WithDefaults()
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	level, err := cfg.level()
	if err != nil {
		return nil, err
	}
	a := &App{cfg: cfg, drain: make(chan struct{}), log: slog.New(slog.NewJSONHandler(os.Stderr, &slog.HandlerOptions{Level: level}))}
	for _, o := range opts {
		o(a)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, a.Close())
		}
	}()
	if err := a.open(ctx); err != nil {
		return nil, err
	}
	if err := a.listen(ctx); err != nil {
		return nil, err
	}
	return a, nil
}

// Keyring manages the API keys.
func (a *App) Keyring() *Keyring { return a.keyring }

// GRPCAddress returns where gRPC listens.
func (a *App) GRPCAddress() string { return a.grpcListener.Addr().String() }

// HTTPAddress returns where JSON listens.
func (a *App) HTTPAddress() string { return a.jsonListener.Addr().String() }

// AdminAddress returns where metrics, probes and AdminService listen.
func (a *App) AdminAddress() string { return a.adminListener.Addr().String() }

// Run serves until ctx ends or a listener fails, and then shuts down: first
// nothing new, then what is in flight, bounded by the shutdown timeout.
func (a *App) Run(ctx context.Context) error {
	failed := make(chan error, 3)
	serve := func(what string, f func() error) {
		go func() {
			if err := f(); err != nil && !errors.Is(err, http.ErrServerClosed) && !errors.Is(err, grpc.ErrServerStopped) {
				failed <- fmt.Errorf("%s listener: %w", what, err)
			}
		}()
	}
	tasks := a.startTasks(ctx)
	defer tasks()
	serve("gRPC", func() error { return a.grpc.Serve(a.grpcListener) })
	serve("JSON", func() error { return a.json.Serve(a.jsonListener) })
	serve("admin", func() error { return a.admin.Serve(a.adminListener) })
	a.health.SetServingStatus("", healthpb.HealthCheckResponse_SERVING)

	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	return errors.Join(err, a.shutdown())
}

// shutdown ends serving. The gateway is a client of the services, so JSON goes
// first; the admin listener goes last, so that probes see the draining.
func (a *App) shutdown() error {
	ctx, cancel := context.WithTimeout(context.Background(), a.cfg.ShutdownTimeout)
	defer cancel()
	a.health.Shutdown()
	a.draining.Do(func() { close(a.drain) })

	err := a.json.Shutdown(ctx)
	done := make(chan struct{})
	go func() { a.grpc.GracefulStop(); close(done) }()
	select {
	case <-done:
	case <-ctx.Done():
		a.grpc.Stop()
		<-done
	}
	if errors.Is(err, context.DeadlineExceeded) {
		err = a.json.Close()
	}
	if closing := a.admin.Shutdown(ctx); errors.Is(closing, context.DeadlineExceeded) {
		err = errors.Join(err, a.admin.Close())
	}
	a.adminGRPC.Stop()
	return err
}

// Close releases everything that New opened. It may be called more than once.
func (a *App) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	return a.closers.close(ctx)
}

// closers are run in reverse order of opening.
type closers []func(context.Context) error

func (c *closers) add(f func(context.Context) error) { *c = append(*c, f) }

func (c *closers) close(ctx context.Context) error {
	var errs []error
	for i := len(*c) - 1; i >= 0; i-- {
		errs = append(errs, (*c)[i](ctx))
	}
	*c = nil
	return errors.Join(errs...)
}
