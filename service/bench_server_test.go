//go:build unix

package service

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"runtime/pprof"
	"syscall"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
)

// benchServerEnv makes the test binary a server over the place that it holds.
const benchServerEnv = "STEELYARD_BENCH_SERVER"

// benchPlace is where a server keeps its data, as JSON in the environment.
type benchPlace struct {
	DataDir            string
	Store, Owner, Bags string        // URLs; empty for SQLite and no Redis
	SyncTakes          time.Duration // longer than the disk's own; for SQLite
}

func (p benchPlace) config() Config {
	return Config{DataDir: p.DataDir, StoreURL: Secret(p.Store), StoreOwnerURL: Secret(p.Owner), RedisURL: Secret(p.Bags), KeyPepper: "a pepper of this benchmark"}
}

// benchReady is the server's first line: where it listens.
type benchReady struct {
	GRPC, HTTP string // the service
	Bare       string // gRPC without interceptors or stats, the canned service only
	Plain      string // net/http, the canned recommendation only
	Token      string
}

// benchCommand is a line to the server, which answers each with a benchUsage.
type benchCommand struct {
	Canned  []byte // what the canned service is to answer from now on, an encoded Recommendation
	Profile string // where to write a CPU profile of what follows
	Stop    bool   // ends the profile
}

// benchUsage is what the server's process has used.
type benchUsage struct {
	CPU   time.Duration
	Error string
}

// serveBench serves until in ends. The log is written as ever, to the null device.
func serveBench(in io.Reader, out io.Writer, place string) (err error) {
	var at benchPlace
	if err := json.Unmarshal([]byte(place), &at); err != nil {
		return err
	}
	cfg := at.config()
	if err := declareCanned(); err != nil {
		return err
	}
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	cfg.KeyRate = 1_000_000 // the check is part of the stack, but nobody is to be turned away
	cfg.GRPCAddress, cfg.HTTPAddress, cfg.AdminAddress = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"
	ctx, stop := context.WithCancel(context.Background())
	app, err := New(ctx, cfg, WithLog(slog.New(slog.NewJSONHandler(null, nil))))
	if err != nil {
		stop()
		return err
	}
	c := &canned{}
	c.register(app.grpc)
	ran := make(chan error, 1)
	go func() { ran <- app.Run(ctx) }()
	defer func() {
		stop()
		err = errors.Join(err, <-ran, app.Close())
	}()

	token, _, err := app.Keyring().Issue(ctx, "bench", "bench", access.ScopeNames(), time.Time{})
	if err != nil {
		return err
	}
	bareListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	bare := grpc.NewServer()
	c.register(bare)
	go func() { _ = bare.Serve(bareListener) }() // a call to it would tell
	defer bare.Stop()
	plainListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	plain := &http.Server{Handler: c, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = plain.Serve(plainListener) }()
	defer plain.Close()

	answers := json.NewEncoder(out)
	if err := answers.Encode(benchReady{
		GRPC: app.GRPCAddress(), HTTP: app.HTTPAddress(), Bare: bareListener.Addr().String(), Plain: plainListener.Addr().String(),
		Token: token,
	}); err != nil {
		return err
	}
	lines := bufio.NewReader(in)
	for {
		line, err := lines.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		usage := cpuUsed()
		if err := c.obey(line); err != nil {
			usage.Error = err.Error()
		}
		if err := answers.Encode(usage); err != nil {
			return err
		}
	}
}

func (c *canned) obey(line []byte) error {
	var cmd benchCommand
	if err := json.Unmarshal(line, &cmd); err != nil {
		return err
	}
	if cmd.Stop {
		pprof.StopCPUProfile()
	}
	if cmd.Canned != nil {
		a := &pb.Recommendation{}
		if err := proto.Unmarshal(cmd.Canned, a); err != nil {
			return err
		}
		c.answer.Store(a)
	}
	if cmd.Profile == "" {
		return nil
	}
	f, err := os.Create(cmd.Profile)
	if err != nil {
		return err
	}
	return pprof.StartCPUProfile(f) // it is written when the profile stops; the process closes it
}

func cpuUsed() benchUsage {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return benchUsage{Error: err.Error()}
	}
	return benchUsage{CPU: time.Duration(u.Utime.Nano() + u.Stime.Nano())}
}
