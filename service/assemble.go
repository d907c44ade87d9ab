package service

import (
	"context"
	"crypto/sha256"
	"log/slog"
	"net/http"
	"runtime/debug"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
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
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/telemetry"
	"example.com/steelyard/service/trail"
	"example.com/steelyard/service/trainees"
	"example.com/steelyard/service/trends"
)

const (
	// bagDays bounds the in-process bag: about 200 MB when full.
	bagDays = 1_000_000
	// memoBytes bounds the computed answers that are held.
	memoBytes = 64 << 20
	// keyWaiters is how many calls may wait, for each slot, to have their key looked
	// up. That is far quicker than any call, and nobody can be told apart before.
	keyWaiters = 64
)

// open builds everything from the store up to the servers.
func (a *App) open(ctx context.Context) error {
	var err error
	if a.certificates, err = openCertificates(a.cfg, a.log); err != nil {
		return err
	}
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
	if a.names, err = trail.NewNames(a.keyring.pepper); err != nil {
		return err
	}
	a.forget = func(ctx context.Context, s store.Scope) {
		windows.forget(ctx, s)
		a.keys.ForgetAll() // one bound to this trainee must not open the next of that id
	}
	a.uses = &access.Uses{Keys: a.store}
	a.closers.add(func(ctx context.Context) error {
		a.noteUses(ctx)
		return nil
	})

	pageSecret, err := a.keyring.secret("page tokens", sha256.Size)
	if err != nil {
		return err
	}
	pages := call.Pager{Secret: pageSecret}
	c, err := a.chain(tel)
	if err != nil {
		return err
	}
	transport := insecure.NewCredentials()
	if a.certificates != nil {
		transport = credentials.NewTLS(a.certificates.forCallers())
	}
	options := append(bounds.grpc(a.cfg.MaxBodyBytes), grpc.Creds(transport), grpc.ForceServerCodecV2(chain.Codec()))
	unary, stream := c.Unary(), c.Stream()
	// The gateway's own way in: no socket, the same interceptors.
	inside := gateway.NewInside(chain.JoinUnary(unary), chain.JoinStream(stream))
	if tel.Tracing {
		options = append(options, grpc.StatsHandler(tel.GRPC()))
	} else {
		times, err := tel.CallTimes()
		if err != nil {
			return err
		}
		unary, stream = slices.Insert(unary, 0, times.Unary), slices.Insert(stream, 0, times.Stream)
	}
	a.grpc = grpc.NewServer(append(options, grpc.UnaryInterceptor(chain.JoinUnary(unary)), grpc.StreamInterceptor(chain.JoinStream(stream)))...)
	a.closers.add(func(context.Context) error {
		a.grpc.Stop() // nothing to do after a run; its workers are there without one
		return nil
	})
	for _, r := range []grpc.ServiceRegistrar{a.grpc, inside} {
		a.register(r, windows, pages)
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
	measured, err := tel.HTTP(json)
	if err != nil {
		return err
	}
	a.json = bounds.http(measured)
	if err := a.assembleAdmin(ctx, c, tel, pages); err != nil {
		return err
	}
	for _, s := range []*http.Server{a.json, a.admin} { // which writes to standard error otherwise
		s.ErrorLog = slog.NewLogLogger(a.log.Handler(), slog.LevelWarn)
	}
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
	slots := a.cfg.slots()
	limiter := limit.New(limit.Options{Slots: slots.all, Count: calls})
	load, writes := limiter.Load, (*limit.Limiter)(nil)
	if slots.writes > 0 {
		writes = limit.New(limit.Options{Slots: slots.writes, Count: calls})
		load = func() (working, waiting int) {
			working, waiting = limiter.Load()
			writing, toWrite := writes.Load()
			return working + writing, waiting + toWrite
		}
	}
	if err := tel.WatchLoad(load); err != nil {
		return chain.Chain{}, err
	}
	a.keys, err = access.NewRemembered(limit.Keys{
		KeyFinder: a.store, Limiter: limit.New(limit.Options{Slots: slots.all, Waiters: keyWaiters, Count: lookups}),
	}, time.Now)
	if err != nil {
		return chain.Chain{}, err
	}
	tokens, err := a.openOIDC()
	if err != nil {
		return chain.Chain{}, err
	}
	c := chain.Chain{
		Log: a.log, RequestTimeout: a.cfg.RequestTimeout,
		Authenticator: access.Authenticator{Keys: a.keys, Tokens: tokens, Pepper: a.keyring.pepper, Now: time.Now, Used: a.uses.Use},
		Limiter:       limiter, Writes: writes, Count: calls,
	}
	rates, err := a.openRates(tel)
	if err != nil {
		return chain.Chain{}, err
	}
	if a.cfg.KeyRate > 0 {
		c.KeyRate = rates("key", a.cfg.KeyRate)
	}
	if a.cfg.TraineeRate > 0 {
		c.TraineeRate = rates("trainee", a.cfg.TraineeRate)
	}
	return c, nil
}

// register puts the four services on a server.
func (a *App) register(r grpc.ServiceRegistrar, w windows, pages call.Pager) {
	told := writes{a.store, w.source.Written}
	pb.RegisterLogbookServiceServer(r, &logbook.Server{Store: told, Now: time.Now, Pages: pages, BatchTimeout: a.cfg.RequestTimeout, Draining: a.drain})
	pb.RegisterTrendServiceServer(r, &trends.Server{Windows: w.source, Now: time.Now})
	pb.RegisterPhaseServiceServer(r, &phases.Server{Store: told, Windows: w.source, Memo: w.memo, Now: time.Now, Pages: pages})
	pb.RegisterTraineeServiceServer(r, &trainees.Server{Store: told, Now: time.Now, Names: a.names, Forget: a.forget})
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
