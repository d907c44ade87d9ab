//go:build unix

// Package redistest starts a real redis-server for a test, on a loopback port
// of its own, with nothing on disk.
package redistest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
)

// Server is a running redis-server.
type Server struct {
	Addr   string // host:port
	Client *redis.Client

	t   testing.TB
	cmd *exec.Cmd
}

// Start starts a server and ends it with the test. It skips the test where
// redis-server is not installed. Extra arguments are passed on.
func Start(t testing.TB, args ...string) *Server {
	t.Helper()
	return begin(t, append([]string{
		"--save", "", "--appendonly", "no", "--repl-diskless-sync-delay", "0",
	}, args...)...)
}

// StartSentinel starts a sentinel that watches a server under a name and
// promotes a replica half a second after it hangs. It returns its address.
func StartSentinel(t testing.TB, name string, of *Server) string {
	t.Helper()
	host, port, err := net.SplitHostPort(of.Addr)
	if err != nil {
		t.Fatal(err)
	}
	conf := filepath.Join(t.TempDir(), "sentinel.conf") // it writes to it
	text := fmt.Sprintf("sentinel monitor %s %s %s 1\nsentinel down-after-milliseconds %s 500\nsentinel failover-timeout %s 5000\n", name, host, port, name, name)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return begin(t, conf, "--sentinel").Addr
}

// WaitReplica waits until a sentinel knows a replica of the name.
func WaitReplica(t testing.TB, sentinel, name string) {
	t.Helper()
	c := redis.NewSentinelClient(&redis.Options{Addr: sentinel})
	defer func() { _ = c.Close() }()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if known, err := c.Replicas(t.Context(), name).Result(); err == nil && len(known) > 0 && known[0]["master-link-status"] == "ok" {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("the sentinel knows no replica")
		}
	}
}

func begin(t testing.TB, args ...string) *Server {
	t.Helper()
	path, err := exec.LookPath("redis-server")
	if err != nil {
		const why = "redis-server is not installed: this test needs a real one (Debian and Ubuntu: apt-get install redis-server)"
		if os.Getenv("STEELYARD_NEED_SERVERS") != "" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	// Another process may take the free port before the server does.
	for range 10 {
		if s := start(t, path, args); s != nil {
			return s
		}
	}
	t.Fatal("redis-server does not start")
	return nil
}

// start returns nil when the server ends at once, as when its port is taken.
func start(t testing.TB, path string, args []string) *Server {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{Addr: l.Addr().String(), t: t}
	port := l.Addr().(*net.TCPAddr).Port
	_ = l.Close()
	s.cmd = exec.CommandContext(context.Background(), path, append(args, // it is stopped by itself, after what uses it
		"--bind", "127.0.0.1", "--port", strconv.Itoa(port), "--dir", t.TempDir(), "--daemonize", "no", "--logfile", "")...)
	s.cmd.SysProcAttr = dieWithParent()
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	exited := make(chan struct{})
	go func() { _ = s.cmd.Wait(); close(exited) }()
	s.Client = redis.NewClient(&redis.Options{Addr: s.Addr, MaxRetries: -1})
	end := func() {
		_ = s.Client.Close()
		_ = s.cmd.Process.Kill() // also when it is paused
		<-exited
	}
	for deadline := time.Now().Add(10 * time.Second); ; {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		err := s.Client.Ping(ctx).Err()
		cancel()
		if err == nil {
			t.Cleanup(end)
			return s
		}
		select {
		case <-exited:
		case <-time.After(10 * time.Millisecond):
			if time.Now().Before(deadline) {
				continue
			}
		}
		end()
		return nil
	}
}

// Pause stops the process where it is: connections stay open and nothing is answered.
func (s *Server) Pause() { s.signal(syscall.SIGSTOP) }

// Resume ends a Pause.
func (s *Server) Resume() { s.signal(syscall.SIGCONT) }

func (s *Server) signal(sig syscall.Signal) {
	if err := s.cmd.Process.Signal(sig); err != nil && !errors.Is(err, syscall.ESRCH) {
		s.t.Errorf("signal redis-server: %v", err)
	}
}
