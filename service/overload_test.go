package service

import (
	"context"
	"io"
	"log/slog"
	"os"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/stats"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// What the service is made to be: so many database connections, each of which
// takes so long for a read. That, and not the machine, makes the capacity.
const (
	connections = 2
	readTakes   = 40 * time.Millisecond
	patience    = time.Second // the callers' deadline
)

// slowStore reads as slowly as that. A read that has begun goes on when its
// caller has gone, as a computation does.
type slowStore struct {
	store.Store
	pool chan struct{}

	lookups, mostLookups, lookupTakes *atomic.Int64 // of keys: now, at most, nanoseconds
}

// Key implements store.Keys, noting how many look for one at once.
func (s slowStore) Key(ctx context.Context, id string) (store.Key, error) {
	n := s.lookups.Add(1)
	defer s.lookups.Add(-1)
	for most := s.mostLookups.Load(); n > most && !s.mostLookups.CompareAndSwap(most, n); most = s.mostLookups.Load() {
	}
	time.Sleep(time.Duration(s.lookupTakes.Load()))
	return s.Store.Key(ctx, id)
}

// View implements store.Reads.
func (s slowStore) View(ctx context.Context, sc store.Scope, f func(store.View) error) error {
	select {
	case s.pool <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.pool }()
	time.Sleep(readTakes)
	return s.Store.View(ctx, sc, f)
}

// target is a running service with a slow store, and its callers.
type target struct {
	t        *testing.T
	conns    []*grpc.ClientConn
	attempts atomic.Int64 // calls as the network sees them
	app      *App
	token    string // of the last reader

	lookups, mostLookups, lookupTakes atomic.Int64
}

// newTarget runs a service on loopback and a fresh SQLite file that reads slowly.
func newTarget(t *testing.T, cfg Config) *target {
	t.Helper()
	x := &target{t: t}
	return x.run(cfg, func(s store.Store) store.Store {
		return slowStore{s, make(chan struct{}, connections), &x.lookups, &x.mostLookups, &x.lookupTakes}
	})
}

// newTargetOn is newTarget with another store before the file.
func newTargetOn(t *testing.T, cfg Config, on func(store.Store) store.Store) *target {
	t.Helper()
	return (&target{t: t}).run(cfg, on)
}

func (x *target) run(cfg Config, on func(store.Store) store.Store) *target {
	t := x.t
	t.Helper()
	cfg.GRPCAddress, cfg.HTTPAddress, cfg.AdminAddress, cfg.DataDir = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0", t.TempDir()
	cfg = cfg.WithDefaults()
	x.app = &App{cfg: cfg, drain: make(chan struct{}), log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	if err := x.app.openStore(t.Context()); err != nil {
		t.Fatal(err)
	}
	x.app.store = on(x.app.store)
	if err := x.app.assemble(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := x.app.listen(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- x.app.Run(ctx) }()
	retries, err := os.ReadFile("../deploy/grpc-retry.json")
	if err != nil {
		t.Fatal(err)
	}
	for range 4 {
		conn, err := grpc.NewClient(x.app.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithDefaultServiceConfig(string(retries)), grpc.WithStatsHandler(x))
		if err != nil {
			t.Fatal(err)
		}
		x.conns = append(x.conns, conn)
	}
	t.Cleanup(func() {
		for _, c := range x.conns {
			_ = c.Close()
		}
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if err := x.app.Close(); err != nil {
			t.Error(err)
		}
	})
	return x
}

// issue makes a key of a tenant for everything.
func (x *target) issue(tenant, name string) (token string) {
	x.t.Helper()
	token, _, err := x.app.Keyring().Issue(x.t.Context(), tenant, name, access.ScopeNames(), time.Time{})
	if err != nil {
		x.t.Fatal(err)
	}
	return token
}

// reader returns a call that reads a new tenant's trainee.
func (x *target) reader(tenant string) func(context.Context, int) error {
	x.t.Helper()
	token := x.issue(tenant, "test")
	x.token = token
	as := func(ctx context.Context) context.Context {
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	_, err := pb.NewTraineeServiceClient(x.conns[0]).CreateTrainee(as(x.t.Context()), &pb.CreateTraineeRequest{
		TraineeId: "t1", Trainee: &pb.Trainee{Sex: pb.Sex_SEX_FEMALE, BirthDate: &date.Date{Year: 1994, Month: 2, Day: 1}},
	})
	if err != nil {
		x.t.Fatal(err)
	}
	return func(ctx context.Context, i int) error {
		_, err := pb.NewTraineeServiceClient(x.conns[i%len(x.conns)]).GetTrainee(as(ctx), &pb.GetTraineeRequest{Name: "trainees/t1"})
		return err
	}
}

// HandleRPC counts attempts.
func (x *target) HandleRPC(_ context.Context, s stats.RPCStats) {
	if _, ok := s.(*stats.Begin); ok {
		x.attempts.Add(1)
	}
}

// The rest of stats.Handler.
func (x *target) TagRPC(ctx context.Context, _ *stats.RPCTagInfo) context.Context   { return ctx }
func (x *target) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }
func (x *target) HandleConn(context.Context, stats.ConnStats)                       {}

// highest watches what the process uses until stop is called.
func highest(t *testing.T) (stop func() (goroutines int, heap uint64)) {
	t.Helper()
	end, done := make(chan struct{}), make(chan struct{})
	var goroutines int
	var heap uint64
	go func() {
		defer close(done)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			goroutines, heap = max(goroutines, runtime.NumGoroutine()), max(heap, m.HeapInuse)
			select {
			case <-end:
				return
			case <-time.After(100 * time.Millisecond):
			}
		}
	}()
	return func() (int, uint64) { close(end); <-done; return goroutines, heap }
}

// TestOverload: far over capacity the service goes on doing what it can do, for
// everybody in turn, and is well again at once when the load goes down. The same
// load without the limiter shows that the limiter is why.
func TestOverload(t *testing.T) {
	if raceDetector {
		t.Skip("the race detector makes the processor the bottleneck, and not the store: the figures would be about that")
	}
	unit := time.Second
	if os.Getenv("STEELYARD_SOAK") != "" {
		unit = 20 * time.Second
	}
	over, after := 4*unit, 3*time.Second+3*unit
	x := newTarget(t, Config{MaxInFlight: connections, KeyRate: -1})
	call := x.reader("noisy")

	capacity := closedLoop(t.Context(), 2*connections, 2*unit, call)
	at1 := openLoop(t.Context(), patience, []stretch{{capacity, 2 * unit}}, call)
	peak := max(capacity, float64(at1.good(patience))/(2*unit).Seconds())
	t.Logf("closed loop %.0f/s; open loop at 1x: %v; peak goodput %.0f/s", capacity, at1, peak)
	if most := float64(connections) / readTakes.Seconds(); capacity > most || capacity < most/4 {
		t.Fatalf("capacity %.0f/s, made to be at most %.0f/s: nothing can be said of multiples of it", capacity, most)
	}
	storm := []stretch{{4 * peak, over}, {0.5 * peak, after}}

	t.Run("limiter on", func(t *testing.T) {
		before, stop := x.attempts.Load(), highest(t)
		idle := runtime.NumGoroutine()
		all := openLoop(t.Context(), patience, storm, call)
		goroutines, heap := stop()
		at4, later := all.between(0, over), all.between(over+3*time.Second, over+after)
		goodput := float64(all.answeredBy(over).good(patience)) / over.Seconds()
		retried := float64(x.attempts.Load()-before) / float64(len(all))
		t.Logf("at 4x: goodput %.0f/s = %.2f of peak; %v; p99 of accepted %v, of refused %v; attempts %.3f a call",
			goodput, goodput/peak, at4, at4.p99(codes.OK), at4.p99(codes.ResourceExhausted), retried)
		t.Logf("from 3 s after the drop to 0.5x: %d of %d; at most %d goroutines (%d before), %d MiB of heap",
			later.good(patience), len(later), goroutines, idle, heap>>20)
		if goodput < 0.8*peak {
			t.Errorf("goodput at 4x is %.2f of peak, want 0.8", goodput/peak)
		}
		if p := at4.p99(codes.OK); p > patience {
			t.Errorf("p99 of the accepted is %v, want at most %v", p, patience)
		}
		for code, n := range all.codes() {
			switch code {
			case codes.OK, codes.ResourceExhausted, codes.DeadlineExceeded:
			default:
				t.Errorf("%d calls ended with %v", n, code)
			}
		}
		if at4.codes()[codes.ResourceExhausted] == 0 {
			t.Error("nothing was refused: the load was none")
		}
		if good := later.good(patience); float64(good) < 0.99*float64(len(later)) {
			t.Errorf("3 s after the drop %d of %d calls go well, want 99 %%", good, len(later))
		}
		if retried > 1.1 {
			t.Errorf("%.2f attempts a call, want at most 1.1", retried)
		}
		if goroutines > idle+1000 || heap > 256<<20 {
			t.Errorf("%d goroutines (%d before), %d MiB of heap", goroutines, idle, heap>>20)
		}
	})

	t.Run("quiet tenant", func(t *testing.T) {
		quiet, done := x.reader("quiet"), make(chan shots)
		go func() { done <- openLoop(t.Context(), patience, []stretch{{8 * peak, 5 * unit}}, call) }()
		mine := openLoop(t.Context(), patience, []stretch{{0.2 * peak, 5 * unit}}, quiet)
		theirs := <-done
		t.Logf("quiet at 0.2x: %v, p99 %v; noisy at 8x: %v", mine, mine.p99(codes.OK), theirs)
		if good := mine.good(patience); float64(good) < 0.99*float64(len(mine)) {
			t.Errorf("%d of %d calls of the quiet tenant go well, want 99 %%", good, len(mine))
		}
		if theirs.codes()[codes.ResourceExhausted] < len(theirs)/2 {
			t.Errorf("the noisy tenant was none: %v", theirs)
		}
	})

	t.Run("limiter off", func(t *testing.T) {
		open := newTarget(t, Config{MaxInFlight: 100_000, KeyRate: -1}) // more than can come
		call := open.reader("noisy")
		all := openLoop(t.Context(), patience, storm, call)
		at4 := all.between(0, over)
		goodput := float64(all.answeredBy(over).good(patience)) / over.Seconds()
		t.Logf("at 4x: goodput %.0f/s = %.2f of peak; %v", goodput, goodput/peak, at4)
		if goodput >= 0.8*peak {
			t.Errorf("goodput at 4x is %.2f of peak without the limiter: the test proves nothing", goodput/peak)
		}
	})
}
