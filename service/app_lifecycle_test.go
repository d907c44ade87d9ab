package service_test

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

// onLoopback is a configuration on free loopback ports.
func onLoopback(dataDir string) service.Config {
	return service.Config{GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0", DataDir: dataDir, ShutdownTimeout: time.Minute}
}

// life is a service whose start and end a test decides.
type life struct {
	*running
	stop context.CancelFunc
	done chan error
}

// begin starts a service; the test ends it.
func begin(t *testing.T, cfg service.Config) *life {
	t.Helper()
	r := &running{t: t, log: &lockedBuffer{}}
	app, err := service.New(t.Context(), cfg, service.WithLog(slog.New(slog.NewJSONHandler(r.log, nil))))
	if err != nil {
		t.Fatal(err)
	}
	r.app = app
	l := &life{running: r, done: make(chan error, 1)}
	var ctx context.Context
	ctx, l.stop = context.WithCancel(context.Background())
	go func() { l.done <- app.Run(ctx) }()
	r.token = r.key("tenant-a", access.ScopeNames()...)
	if r.conn, err = grpc.NewClient(app.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials())); err != nil {
		t.Fatal(err)
	}
	return l
}

// ended waits for Run to return.
func (l *life) ended() {
	l.t.Helper()
	select {
	case err := <-l.done:
		if err != nil {
			l.t.Errorf("run: %v", err)
		}
	case <-time.After(30 * time.Second): // so that a service that does not stop fails
		l.t.Fatal("the service does not stop")
	}
}

// close releases everything after the end.
func (l *life) close() {
	l.t.Helper()
	if err := l.app.Close(); err != nil {
		l.t.Errorf("close: %v", err)
	}
	_ = l.conn.Close()
	http.DefaultClient.CloseIdleConnections()
}

// TestLifecycle_LeavesNothingBehind: cycles on one data folder leave no
// goroutine, and what was written is there in the next one.
func TestLifecycle_LeavesNothingBehind(t *testing.T) {
	http.DefaultClient.CloseIdleConnections()
	before := goleak.IgnoreCurrent()
	dir := t.TempDir()
	for i := range 3 {
		l := begin(t, onLoopback(dir))
		if i == 0 {
			l.trainee("t1")
		}
		if got := l.http(l.token, "GET", "/v1/trainees/t1", ""); got.status != 200 {
			t.Errorf("cycle %d: %d %s", i, got.status, got.body)
		}
		if _, err := l.trainees().GetTrainee(l.ctx(), &pb.GetTraineeRequest{Name: "trainees/t1"}); err != nil {
			t.Errorf("cycle %d: %v", i, err)
		}
		l.stop()
		l.ended()
		l.close()
		if err := l.app.Close(); err != nil {
			t.Errorf("closed again: %v", err)
		}
	}
	goleak.VerifyNone(t, before)
}

// TestLifecycle_NewWithoutRun: a service that was made and never run gives
// everything back too.
func TestLifecycle_NewWithoutRun(t *testing.T) {
	before := goleak.IgnoreCurrent()
	dir := t.TempDir()
	app, err := service.New(t.Context(), onLoopback(dir))
	if err != nil {
		t.Fatal(err)
	}
	addresses := []string{app.GRPCAddress(), app.HTTPAddress(), app.AdminAddress()}
	if err := app.Close(); err != nil {
		t.Error(err)
	}
	for _, a := range addresses {
		mustBeFree(t, a)
	}
	again, err := service.New(t.Context(), onLoopback(dir))
	if err != nil {
		t.Fatalf("the data folder is still held: %v", err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
	goleak.VerifyNone(t, before)
}

func mustBeFree(t *testing.T, address string) {
	t.Helper()
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", address)
	if err != nil {
		t.Errorf("%s is still held: %v", address, err)
		return
	}
	_ = l.Close()
}

// TestNew_TakenPortGivesEverythingBack, whichever of the three it is, and names the flag.
func TestNew_TakenPortGivesEverythingBack(t *testing.T) {
	for _, flag := range []string{"grpc-address", "http-address", "admin-address"} {
		t.Run(flag, func(t *testing.T) {
			taken, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = taken.Close() }()
			before := goleak.IgnoreCurrent()
			cfg := onLoopback(t.TempDir())
			free := freeAddress(t)
			cfg.GRPCAddress = free
			switch flag {
			case "grpc-address":
				cfg.GRPCAddress = taken.Addr().String()
			case "http-address":
				cfg.HTTPAddress = taken.Addr().String()
			case "admin-address":
				cfg.AdminAddress = taken.Addr().String()
			}
			app, err := service.New(t.Context(), cfg)
			if err == nil || app != nil || !strings.HasPrefix(err.Error(), flag+": ") {
				t.Errorf("%v, %v", app, err)
			}
			mustBeFree(t, free)
			keyring, err := service.OpenKeyring(t.Context(), cfg)
			if err != nil {
				t.Fatalf("the store is still held: %v", err)
			}
			if err := keyring.Close(); err != nil {
				t.Error(err)
			}
			goleak.VerifyNone(t, before)
		})
	}
}

// freeAddress is an address that nobody listened on a moment ago.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String()
}

// TestRun_EndsWhenAListenerFails and says which.
func TestRun_EndsWhenAListenerFails(t *testing.T) {
	app, err := service.New(t.Context(), onLoopback(t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Close(); err != nil { // the listeners are gone before it runs
		t.Fatal(err)
	}
	if err := app.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "listener: ") {
		t.Errorf("run: %v", err)
	}
}
