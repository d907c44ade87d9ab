package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// binary is the program as a user gets it, built when a test first asks for it
// and removed after the last one.
var binary = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "steelyard-test-")
	if err != nil {
		return "", err
	}
	binaryDir = dir
	bin := filepath.Join(dir, "steelyard")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		return "", fmt.Errorf("go build: %w: %s", err, out)
	}
	return bin, nil
})

var binaryDir string

// tests runs the tests of the package and cleans up behind them.
type tests struct{ *testing.M }

func (t tests) Run() int {
	code := t.M.Run()
	if binaryDir != "" {
		_ = os.RemoveAll(binaryDir)
	}
	return code
}

func buildBinary(t *testing.T) string {
	t.Helper()
	bin, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

// addresses are where a server listens.
type addresses struct{ GRPC, HTTP, Admin string }

var freePorts = addresses{"127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"}

// process is a running `steelyard serve`.
type process struct {
	cmd    *exec.Cmd
	listen addresses
	read   chan struct{} // closed when standard error ends

	mu  sync.Mutex
	log []map[string]any
}

// startProcess starts a server and waits until it listens.
func startProcess(t *testing.T, bin, dir string, at addresses, env ...string) *process {
	t.Helper()
	p, err := tryProcess(t, bin, dir, at, env...)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// restartProcess starts a server where one was just killed. Another program may
// borrow the port for a moment in between.
func restartProcess(t *testing.T, bin, dir string, at addresses, env ...string) *process {
	t.Helper()
	for attempt := 1; ; attempt++ {
		p, err := tryProcess(t, bin, dir, at, env...)
		if err == nil {
			return p
		}
		if attempt == 50 {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond)
	}
}

func tryProcess(t *testing.T, bin, dir string, at addresses, env ...string) (*process, error) {
	t.Helper()
	p := &process{read: make(chan struct{}), cmd: exec.Command(bin, "serve", "--data-dir", dir,
		"--grpc-address", at.GRPC, "--http-address", at.HTTP, "--admin-address", at.Admin)}
	p.cmd.Env = append(plainEnviron(), env...)
	stderr, err := p.cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	t.Cleanup(func() { _ = p.cmd.Process.Kill() }) // fails for one that has ended
	listening := make(chan addresses, 1)
	go func() {
		defer close(p.read)
		for s := bufio.NewScanner(stderr); s.Scan(); {
			line := map[string]any{}
			if err := json.Unmarshal(s.Bytes(), &line); err != nil {
				line["not JSON"] = s.Text()
			}
			p.mu.Lock()
			p.log = append(p.log, line)
			p.mu.Unlock()
			if line["msg"] == "listening" {
				listening <- addresses{fmt.Sprint(line["grpc"]), fmt.Sprint(line["http"]), fmt.Sprint(line["admin"])}
			}
		}
	}()
	select {
	case p.listen = <-listening:
	case <-p.read:
		_ = p.cmd.Wait()
		return nil, fmt.Errorf("the server ended before it listened: %v", p.lines(""))
	case <-time.After(time.Minute): // so that a server that never says so fails
		return nil, fmt.Errorf("the server does not tell where it listens: %v", p.lines(""))
	}
	return p, nil
}

// plainEnviron is the environment without any setting of Steelyard.
func plainEnviron() []string {
	return slices.DeleteFunc(os.Environ(), func(e string) bool { return strings.HasPrefix(e, "STEELYARD_") })
}

// lines returns the log lines with a message, all when it is empty.
func (p *process) lines(msg string) []map[string]any {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []map[string]any
	for _, l := range p.log {
		if m, _ := l["msg"].(string); strings.Contains(m, msg) {
			out = append(out, l)
		}
	}
	return out
}

// end sends a signal and returns how the process ended.
func (p *process) end(sig syscall.Signal) error {
	if err := p.cmd.Process.Signal(sig); err != nil {
		return err
	}
	<-p.read
	return p.cmd.Wait()
}

// makeKey runs `steelyard keys create`.
func makeKey(t *testing.T, bin, dir string, args ...string) string {
	t.Helper()
	return makeKeyWith(t, bin, dir, nil, args...)
}

// makeKeyWith is makeKey with more variables.
func makeKeyWith(t *testing.T, bin, dir string, env []string, args ...string) string {
	t.Helper()
	cmd := exec.Command(bin, append([]string{"keys", "create", "--data-dir", dir}, args...)...)
	cmd.Env = append(os.Environ(), env...)
	var messages strings.Builder
	cmd.Stderr = &messages
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, messages.String())
	}
	return strings.TrimSpace(string(out))
}
