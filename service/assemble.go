package service

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"runtime/debug"
	"time"

	"github.com/fullstorydev/grpchan/inprocgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/gateway"
	"example.com/steelyard/service/logbook"
	"example.com/steelyard/service/phases"
	"example.com/steelyard/service/telemetry"
	"example.com/steelyard/service/trainees"
	"example.com/steelyard/service/trends"
	"example.com/steelyard/service/window"
)

const (
	// bagDays bounds the in-process bag: about 200 MB when full.
	bagDays = 1_000_000
	// maxStreams bounds what one connection may have in flight.
	maxStreams = 250
	// maxHeaderBytes bounds the headers of a call.
	maxHeaderBytes = 16 << 10
)

// open builds everything from the store up to the two servers.
func (a *App) open(ctx context.Context) error {
	keyring, err := OpenKeyring(ctx, a.cfg)
	if err != nil {
		return err
	}
	a.keyring, a.store = keyring, keyring.store
	a.closers.add(func(context.Context) error { return keyring.Close() })

	tel, err := telemetry.New(ctx, Version())
	if err != nil {
		return err
	}
	a.closers.add(tel.Close)
	count, err := tel.WindowCounter()
	if err != nil {
		return err
	}
	bag, err := window.NewLocal(bagDays)
	if err != nil {
		return fmt.Errorf("window bag: %w", err)
	}
	windows := window.NewSource(a.store, bag, count)

	c := chain.Chain{
		Log: a.log, RequestTimeout: a.cfg.RequestTimeout,
		Authenticator: access.Authenticator{Keys: a.store, Pepper: keyring.pepper, Now: time.Now},
	}
	unary, stream := chain.JoinUnary(c.Unary()), chain.JoinStream(c.Stream())

	a.grpc = grpc.NewServer(
		grpc.UnaryInterceptor(unary), grpc.StreamInterceptor(stream),
		grpc.StatsHandler(otelgrpc.NewServerHandler(
			otelgrpc.WithMeterProvider(tel.Meters), otelgrpc.WithTracerProvider(tel.Traces), otelgrpc.WithPropagators(tel.Propagator),
			otelgrpc.WithFilter(filters.Not(filters.HealthCheck())))),
		grpc.MaxRecvMsgSize(a.cfg.MaxBodyBytes), grpc.MaxConcurrentStreams(maxStreams), grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.ConnectionTimeout(10*time.Second),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: 15 * time.Minute, Time: 2 * time.Minute, Timeout: 20 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 30 * time.Second, PermitWithoutStream: true}),
	)
	// The gateway's own way in: no socket, the same interceptors.
	inside := (&inprocgrpc.Channel{}).WithServerUnaryInterceptor(unary).WithServerStreamInterceptor(stream)
	for _, r := range []grpc.ServiceRegistrar{a.grpc, inside} {
		a.register(r, windows)
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
	a.json = &http.Server{Handler: tel.HTTP(json), ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: maxHeaderBytes}
	a.admin = &http.Server{Handler: a.adminHandler(tel.Metrics), ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: maxHeaderBytes}
	return nil
}

// register puts the four services on a server.
func (a *App) register(r grpc.ServiceRegistrar, windows *window.Source) {
	pb.RegisterLogbookServiceServer(r, &logbook.Server{Store: a.store, Now: time.Now, BatchTimeout: a.cfg.RequestTimeout, Draining: a.drain})
	pb.RegisterTrendServiceServer(r, &trends.Server{Windows: windows, Now: time.Now})
	pb.RegisterPhaseServiceServer(r, &phases.Server{Store: a.store, Windows: windows, Now: time.Now})
	pb.RegisterTraineeServiceServer(r, &trainees.Server{Store: a.store, Now: time.Now})
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
