package main

import (
	"io"
	"net"
	"sync"
	"testing"
)

// relay is a line to a server that counts what goes over it, and may cut a
// connection after any byte.
type relay struct {
	Addr string

	// budget is how many bytes the next connection may carry to the server and back
	// before it is cut, without limit where negative.
	budget func() (up, down int64)

	mu   sync.Mutex
	cuts int
	sent chan struct{} // told when a connection has carried something like a batch; holds one
}

// aBatch is less than a batch of the tests is long, and more than what opens a stream.
const aBatch = 4 << 10

func newRelay(t *testing.T, to string, budget func() (up, down int64)) *relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &relay{Addr: l.Addr().String(), budget: budget, sent: make(chan struct{}, 1)}
	var lines sync.WaitGroup
	lines.Go(func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return
			}
			lines.Go(func() { r.carry(client, to) })
		}
	})
	t.Cleanup(func() { _ = l.Close(); lines.Wait() })
	return r
}

func (r *relay) cutsSoFar() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.cuts
}

func unbounded() (up, down int64) { return -1, -1 }

// carry serves one connection until either side ends it or its budget is spent.
func (r *relay) carry(client net.Conn, to string) {
	server, err := net.Dial("tcp", to)
	if err != nil { // it was killed
		_ = client.Close()
		return
	}
	up, down := r.budget()
	var both sync.WaitGroup
	one := func(to io.Writer, from io.Reader, budget int64, told func(int64)) {
		if r.copy(to, from, budget, told) {
			r.mu.Lock()
			r.cuts++
			r.mu.Unlock()
		}
		_, _ = client.Close(), server.Close()
	}
	both.Go(func() {
		one(server, client, up, func(n int64) {
			if n >= aBatch {
				select {
				case r.sent <- struct{}{}:
				default:
				}
			}
		})
	})
	both.Go(func() { one(client, server, down, func(int64) {}) })
	both.Wait()
}

// copy reports whether it ended because the budget was spent.
func (r *relay) copy(to io.Writer, from io.Reader, budget int64, told func(int64)) bool {
	buf := make([]byte, 4<<10)
	for carried := int64(0); ; {
		n, err := from.Read(buf)
		spent := budget >= 0 && carried+int64(n) >= budget
		if spent {
			n = int(budget - carried)
		}
		if _, failed := to.Write(buf[:n]); failed != nil || err != nil {
			return false
		}
		if carried += int64(n); spent {
			return true
		}
		told(carried)
	}
}
