//go:build linux

package sqlite

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// A kill proves nothing about a power cut: what a process has written survives it
// without any sync. So the system calls of a writing process are watched. Each
// acknowledgement must have come after a sync of the log that was begun after the
// write which it acknowledges, and that write lies between its call and the sync.

// watched is one writing process.
type watched struct {
	clients int
	level   string // of PRAGMA synchronous
}

const writesOfAClient = 40

func TestSyncedBeforeAcknowledged(t *testing.T) {
	if spec := os.Getenv("STORE_SYNC"); spec != "" {
		writeWatched(t, spec)
		return
	}
	for _, c := range []struct {
		watched
		isSafe bool
	}{
		{watched{1, "FULL"}, true},
		{watched{16, "FULL"}, true},
		{watched{1, "NORMAL"}, false}, // the oracle has to find it
		{watched{16, "NORMAL"}, false},
	} {
		t.Run(fmt.Sprintf("%d clients, synchronous %s", c.clients, c.level), func(t *testing.T) {
			acks, calls := watch(t, c.watched)
			syncs, unsafe := 0, 0
			for _, call := range calls {
				if call.isSync {
					syncs++
				}
			}
			for _, a := range acks {
				if !a.isSynced(calls) {
					unsafe++
				}
			}
			t.Logf("%d acknowledgements, %d syncs of the log, %d acknowledgements without one", len(acks), syncs, unsafe)
			if len(acks) != c.clients*writesOfAClient {
				t.Fatalf("%d acknowledgements", len(acks))
			}
			if (unsafe == 0) != c.isSafe {
				t.Errorf("%d acknowledged without a sync", unsafe)
			}
			if c.isSafe && c.clients == 1 && syncs < len(acks) {
				t.Errorf("%d syncs for %d writes one after the other", syncs, len(acks))
			}
			if c.isSafe && c.clients > 1 && syncs >= len(acks) {
				t.Errorf("%d syncs for %d writes: they share none", syncs, len(acks))
			}
		})
	}
}

// span is a time in which something was done, in Unix nanoseconds.
type span struct{ from, to int64 }

// systemCall is a write of the log, or a sync of it.
type systemCall struct {
	span
	isSync bool
}

// isSynced reports whether a write of the log and then a sync of it lie between
// the call and its acknowledgement.
func (a span) isSynced(calls []systemCall) bool {
	wrote := int64(-1) // end of the first write after the call
	for _, c := range calls {
		switch {
		case !c.isSync && wrote < 0 && c.from >= a.from:
			wrote = c.to
		case c.isSync && wrote >= 0 && c.from >= wrote && c.to <= a.to:
			return true
		}
	}
	return false
}

// watch runs a writing process under strace, and returns its acknowledgements and
// its system calls on the log in the order of their begin.
func watch(t *testing.T, w watched) (acks []span, calls []systemCall) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		const why = "strace is not installed: this test watches system calls with it (Debian and Ubuntu: apt-get install strace)"
		if os.Getenv("STEELYARD_NEED_SERVERS") != "" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	dir := t.TempDir()
	trace := filepath.Join(dir, "trace")
	cmd := exec.CommandContext(t.Context(), strace, "-f", "-y", "-ttt", "-T", "-s", "0", "-e", "trace=write,pwrite64,fsync,fdatasync", "-o", trace,
		os.Args[0], "-test.run", "^TestSyncedBeforeAcknowledged$")
	cmd.Env = append(os.Environ(), fmt.Sprintf("STORE_SYNC=%d %s %s", w.clients, w.level, filepath.Join(dir, "log.db")))
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		var a span
		if n, _ := fmt.Sscanf(line, "acknowledged %d %d", &a.from, &a.to); n == 2 {
			acks = append(acks, a)
		}
	}
	return acks, readTrace(t, trace)
}

var (
	called = regexp.MustCompile(`^(\d+) +(\d+)\.(\d{6}) (write|pwrite64|fsync|fdatasync)\(\d+<([^>]*)>(.*)$`)
	ended  = regexp.MustCompile(`^(\d+) +(\d+)\.(\d{6}) <\.\.\. (?:write|pwrite64|fsync|fdatasync) resumed>`)
	lasted = regexp.MustCompile(`<(\d+)\.(\d{6})>$`)
)

// readTrace reads what strace wrote: a call in one line, or in two when others came between.
func readTrace(t *testing.T, path string) []systemCall {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var done []systemCall
	open := map[string]systemCall{} // by thread
	for in := bufio.NewScanner(f); in.Scan(); {
		line := in.Text()
		if m := ended.FindStringSubmatch(line); m != nil {
			if c, ok := open[m[1]]; ok {
				delete(open, m[1])
				c.to = nanoseconds(m[2], m[3])
				done = append(done, c)
			}
			continue
		}
		m := called.FindStringSubmatch(line)
		if m == nil || !strings.HasSuffix(m[5], "log.db-wal") {
			continue
		}
		c := systemCall{span: span{from: nanoseconds(m[2], m[3])}, isSync: strings.HasSuffix(m[4], "sync")}
		if d := lasted.FindStringSubmatch(line); d != nil {
			c.to = c.from + nanoseconds(d[1], d[2])
			done = append(done, c)
		} else {
			open[m[1]] = c
		}
	}
	slices.SortStableFunc(done, func(a, b systemCall) int { return int(a.from - b.from) })
	return done
}

func nanoseconds(seconds, micros string) int64 {
	s, _ := strconv.ParseInt(seconds, 10, 64)
	u, _ := strconv.ParseInt(micros, 10, 64)
	return s*1e9 + u*1e3
}

// writeWatched is the process that is watched.
func writeWatched(t *testing.T, spec string) {
	var w watched
	var path string
	if _, err := fmt.Sscan(spec, &w.clients, &w.level, &path); err != nil {
		t.Fatal(err)
	}
	if w.level == "NORMAL" { // which Open refuses otherwise
		writerSettings[1] = "synchronous(NORMAL)"
		writerPromises[1].want = "1"
	}
	s := open(t, path)
	defer s.Close()
	create(t, s, ada)
	var mu sync.Mutex
	var clients sync.WaitGroup
	for c := range w.clients {
		clients.Go(func() {
			for n := range writesOfAClient {
				// Cut to the trace's microseconds: what began after the call must not seem to have begun before.
				from := time.Now().UnixNano() / 1e3 * 1e3
				_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
					return noAnswer, tx.PutEntries([]engine.Entry{weighIn(engine.Day(1+c*writesOfAClient+n), 70)})
				})
				to := time.Now().UnixNano()
				if err != nil {
					t.Error(err)
				}
				mu.Lock()
				fmt.Printf("acknowledged %d %d\n", from, to)
				mu.Unlock()
			}
		})
	}
	clients.Wait()
}
