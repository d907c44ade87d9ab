//go:build unix

package service

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
)

// benchClient is a running server and the ways to call it.
type benchClient struct {
	ready       benchReady
	conn        *grpc.ClientConn // to the service, one connection
	bare        *grpc.ClientConn
	web         *http.Client
	commands    io.Writer
	usages      *json.Decoder
	ctx         context.Context // carries the credential
	profileInto string
}

// startBench starts a server over a place in a process of its own, which ends with
// the benchmark.
func startBench(b *testing.B, at benchPlace) *benchClient {
	b.Helper()
	place, err := json.Marshal(at)
	if err != nil {
		b.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	cmd := at.command(b, self)
	cmd.Env = append(os.Environ(), benchServerEnv+"="+string(place))
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	c := &benchClient{commands: in, usages: json.NewDecoder(bufio.NewReader(out)), profileInto: os.Getenv("STEELYARD_BENCH_PROFILES")}
	b.Cleanup(func() {
		_ = in.Close() // the server ends with its input
		if err := cmd.Wait(); err != nil {
			b.Errorf("benchmark server: %v", err)
		}
	})
	if err := c.usages.Decode(&c.ready); err != nil {
		b.Fatalf("the benchmark server did not start: %v", err)
	}
	c.ctx = metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+c.ready.Token)
	for _, to := range []struct {
		address string
		conn    **grpc.ClientConn
	}{{c.ready.GRPC, &c.conn}, {c.ready.Bare, &c.bare}} {
		if *to.conn, err = grpc.NewClient(to.address, grpc.WithTransportCredentials(insecure.NewCredentials())); err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = (*to.conn).Close() })
	}
	transport := &http.Transport{MaxIdleConnsPerHost: 128}
	b.Cleanup(transport.CloseIdleConnections)
	c.web = &http.Client{Transport: transport}
	return c
}

// command is the server's. Where a sync is to take longer than the disk's own, each
// one is held up on its way into the kernel.
func (p benchPlace) command(b *testing.B, self string) *exec.Cmd {
	b.Helper()
	if p.SyncTakes == 0 {
		return exec.Command(self)
	}
	strace, err := exec.LookPath("strace")
	if err != nil {
		if os.Getenv("STEELYARD_NEED_SERVERS") != "" {
			b.Fatal(err)
		}
		b.Skip(err)
	}
	const syncs = "fsync,fdatasync"
	return exec.Command(strace, "-f", "-qq", "--seccomp-bpf", "-o", os.DevNull, "-e", "trace="+syncs, "-e", "signal=none",
		"-e", fmt.Sprintf("inject=%s:delay_enter=%d", syncs, p.SyncTakes.Microseconds()), self)
}

// command has the server obey and returns what it had used by then.
func (c *benchClient) command(b *testing.B, cmd benchCommand) benchUsage {
	b.Helper()
	line, err := json.Marshal(cmd)
	if err != nil {
		b.Fatal(err)
	}
	var u benchUsage
	if _, err = c.commands.Write(append(line, '\n')); err == nil {
		err = c.usages.Decode(&u)
	}
	if err == nil && u.Error != "" {
		err = errors.New(u.Error)
	}
	if err != nil {
		b.Fatalf("benchmark server: %v", err)
	}
	return u
}

// benchCall makes a caller's n-th call and returns what of it counts as waiting.
type benchCall func(caller, n int) (time.Duration, error)

// timed is a call all of which counts.
func timed(f func(caller, n int) error) benchCall {
	return func(caller, n int) (time.Duration, error) {
		began := time.Now()
		err := f(caller, n)
		return time.Since(began), err
	}
}

// sample is what one slice of load came to.
type sample struct {
	count float64       // of calls, or of entries
	took  time.Duration // wall clock
	cpu   time.Duration // of the server; 0 where it is not asked
	p50   time.Duration // of a call
}

const (
	sliceTime   = 400 * time.Millisecond
	profileTime = 5 * time.Second
)

// load has so many callers call one after another for a slice of time.
func (c *benchClient) load(b *testing.B, callers int, slice time.Duration, call benchCall) sample {
	b.Helper()
	waits, errs := make([][]time.Duration, callers), make([]error, callers)
	before := c.command(b, benchCommand{})
	began := time.Now()
	var done sync.WaitGroup
	for caller := range callers {
		done.Go(func() {
			for n := 0; time.Since(began) < slice; n++ {
				wait, err := call(caller, n)
				if err != nil {
					errs[caller] = err
					return
				}
				waits[caller] = append(waits[caller], wait)
			}
		})
	}
	done.Wait()
	took := time.Since(began)
	after := c.command(b, benchCommand{})
	if err := errors.Join(errs...); err != nil {
		b.Fatal(err)
	}
	all := slices.Concat(waits...)
	slices.Sort(all)
	return sample{float64(len(all)), took, after.CPU - before.CPU, all[len(all)/2]}
}
