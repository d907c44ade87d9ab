package service

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net"
	"runtime/debug"
	"time"

	"github.com/fullstorydev/grpchan/inprocgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/gateway"
	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/logbook"
	"example.com/steelyard/service/phases"
	"example.com/steelyard/service/telemetry"
	"example.com/steelyard/service/trainees"
	"example.com/steelyard/service/trends"
)

const (
	// bagDays bounds the in-process bag: about 200 MB when full.
	bagDays = 1_000_000
	// keyWaiters is how many calls may wait, for each slot, to have their key looked
	// up. That is far quicker than any call, and nobody can be told apart before.
	keyWaiters = 64
)

// open builds everything from the store up to the two servers.
func (a *App) open(ctx context.Context) error {
	if err := a.openStore(ctx); err != nil {
		return err
	}
	return a.assemble(ctx)
}

func (a *App) openStore(ctx context.Context) error {
	keyring, err := OpenKeyring(ctx, a.cfg)
	if err != nil {
		return err
	}
	a.keyring, a.store = keyring, keyring.store
	a.closers.add(func(context.Context) error { return keyring.Close() })
	return nil
}

// assemble builds what stands on the store.
func (a *App) assemble(ctx context.Context) error {
	tel, err := telemetry.New(ctx, Version())
	if err != nil {
		return err
	}
	a.closers.add(tel.Close)
	windows, err := a.openWindows(tel)
	if err != nil {
		return err
	}

	pageSecret, err := a.keyring.secret("page tokens", sha256.Size)
	if err != nil {
		return err
	}
	c, err := a.chain(tel)
	if err != nil {
		return err
	}
	unary, stream := chain.JoinUnary(c.Unary()), chain.JoinStream(c.Stream())

	a.grpc = grpc.NewServer(append(bounds.grpc(a.cfg.MaxBodyBytes),
		grpc.ForceServerCodecV2(chain.Codec()), grpc.UnaryInterceptor(unary), grpc.StreamInterceptor(stream),
		grpc.StatsHandler(otelgrpc.NewServerHandler(
			otelgrpc.WithMeterProvider(tel.Meters), otelgrpc.WithTracerProvider(tel.Traces), otelgrpc.WithPropagators(tel.Propagator),
			otelgrpc.WithFilter(filters.Not(filters.HealthCheck())))))...)
	// The gateway's own way in: no socket, the same interceptors.
	inside := (&inprocgrpc.Channel{}).WithServerUnaryInterceptor(unary).WithServerStreamInterceptor(stream)
	for _, r := range []grpc.ServiceRegistrar{a.grpc, inside} {
		a.register(r, windows, call.Pager{Secret: pageSecret})
	}
	a.health = health.NewServer()
	a.health.SetServingStatus("", healthpb.HealthCheckResponse_NOT_SERVING)
	healthpb.RegisterHealthServer(a.grpc, a.health)
	if a.cfg.Reflection {
		reflection.Register(a.grpc)
	}

	json, err := gateway.New(ctx, inside, gateway.Options{Authenticator: c.Authenticator, MaxBodyBytes: a.cfg.MaxBodyBytes})
	if err != nil {
		return err
	}
	a.json = bounds.http(tel.HTTP(json))
	a.admin = bounds.http(a.adminHandler(tel.Metrics))
	a.admin.ReadTimeout, a.admin.WriteTimeout = bounds.admin, bounds.admin
	return nil
}

// chain builds the interceptors and the limits that they keep.
func (a *App) chain(tel *telemetry.Telemetry) (chain.Chain, error) {
	calls, err := tel.CallCounter("call")
	if err != nil {
		return chain.Chain{}, err
	}
	lookups, err := tel.CallCounter("key_lookup")
	if err != nil {
		return chain.Chain{}, err
	}
	limiter := limit.New(limit.Options{Slots: a.cfg.MaxInFlight, Count: calls})
	if err := tel.WatchLoad(limiter.Load); err != nil {
		return chain.Chain{}, err
	}
	keys := limit.Keys{KeyFinder: a.store, Limiter: limit.New(limit.Options{Slots: a.cfg.MaxInFlight, Waiters: keyWaiters, Count: lookups})}
	c := chain.Chain{
		Log: a.log, RequestTimeout: a.cfg.RequestTimeout,
		Authenticator: access.Authenticator{Keys: keys, Pepper: a.keyring.pepper, Now: time.Now},
		Limiter:       limiter, Count: calls,
	}
	if a.cfg.KeyRate > 0 {
		c.KeyRate = limit.NewRates(a.cfg.KeyRate)
	}
	if a.cfg.TraineeRate > 0 {
		c.TraineeRate = limit.NewRates(a.cfg.TraineeRate)
	}
	return c, nil
}

// register puts the four services on a server.
func (a *App) register(r grpc.ServiceRegistrar, w windows, pages call.Pager) {
	pb.RegisterLogbookServiceServer(r, &logbook.Server{Store: a.store, Now: time.Now, Pages: pages, BatchTimeout: a.cfg.RequestTimeout, Draining: a.drain})
	pb.RegisterTrendServiceServer(r, &trends.Server{Windows: w.source, Now: time.Now})
	pb.RegisterPhaseServiceServer(r, &phases.Server{Store: a.store, Windows: w.source, Now: time.Now, Pages: pages})
	pb.RegisterTraineeServiceServer(r, &trainees.Server{Store: a.store, Now: time.Now, Forget: w.forget})
}

// listen opens the three sockets.
func (a *App) listen(ctx context.Context) error {
	var lc net.ListenConfig
	for _, l := range []struct {
		flag, address string
		to            *net.Listener
	}{
		{"grpc-address", a.cfg.GRPCAddress, &a.grpcListener},
		{"http-address", a.cfg.HTTPAddress, &a.jsonListener},
		{"admin-address", a.cfg.AdminAddress, &a.adminListener},
	} {
		listener, err := lc.Listen(ctx, "tcp", l.address)
		if err != nil {
			return fmt.Errorf("%s: %w", l.flag, err)
		}
		*l.to = listener
		a.closers.add(func(context.Context) error {
			_ = listener.Close() // a server that ran has closed it already
			return nil
		})
	}
	return nil
}

// Version returns what this binary was built from.
func Version() string {
	if version != "" {
		return version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

// version is set at link time for a release.
var version string
