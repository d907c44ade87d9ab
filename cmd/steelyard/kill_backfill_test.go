//go:build unix

package main

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"example.com/steelyard/testdata/trials"
)

// `steelyard backfill` and `steelyard serve` as processes of their own, with a line
// between them. Whatever ends the server, the client or the line, the log comes to
// be what the file says, and each batch is applied once.

// batchesOfAFile is what a file of killedEntries comes to.
const batchesOfAFile = killedEntries / 500

// arena is a server, a line to it and files to bring to it.
type arena struct {
	// crowd is how many trainees share each file, all of them brought at once.
	crowd int

	t    *testing.T
	rng  *rand.Rand
	bin  string
	dir  string
	env  []string // of the server
	key  string
	p    *process
	line *relay

	files int
}

// newArena makes one whose tenant is no other's: some share a database.
func newArena(t *testing.T, env []string, tenant string, crowd int, rng *rand.Rand, budget func() (up, down int64)) *arena {
	t.Helper()
	a := &arena{t: t, crowd: crowd, rng: rng, bin: buildBinary(t), dir: t.TempDir(), env: env}
	a.key = makeKeyWith(t, a.bin, a.dir, env, "--tenant", tenant, "--scope", "log.write,log.read,plan.write")
	a.p = startProcess(t, a.bin, a.dir, freePorts, env...)
	a.line = newRelay(t, a.p.listen.GRPC, budget)
	return a
}

// killServer ends the server without warning, and starts it again.
func (a *arena) killServer() {
	a.t.Helper()
	_ = a.p.end(syscall.SIGKILL)
	a.p = restartProcess(a.t, a.bin, a.dir, a.p.listen, a.env...)
}

// file writes another log, of trainees of its own.
func (a *arena) file() (path string) {
	a.t.Helper()
	a.files++
	trainees := make([]string, a.crowd)
	for i := range trainees {
		trainees[i] = fmt.Sprintf("t-%d-%d", a.files, i)
	}
	path = filepath.Join(a.t.TempDir(), fmt.Sprintf("log-%d.csv", a.files))
	if err := os.WriteFile(path, []byte(generatedLog(a.rng, trainees...)), 0o600); err != nil {
		a.t.Fatal(err)
	}
	return path
}

// backfilling is a running `steelyard backfill`.
type backfilling struct {
	cmd    *exec.Cmd
	said   bytes.Buffer
	exited chan error
}

func (a *arena) backfill(path string) *backfilling {
	a.t.Helper()
	b := &backfilling{exited: make(chan error, 1)}
	b.cmd = exec.Command(a.bin, "backfill", "--address", a.line.Addr, "--attempts", "100", "--create-trainees", path)
	b.cmd.Env = append(plainEnviron(), "STEELYARD_KEY="+a.key)
	b.cmd.Stdout, b.cmd.Stderr = &b.said, &b.said
	if err := b.cmd.Start(); err != nil {
		a.t.Fatal(err)
	}
	go func() { b.exited <- b.cmd.Wait() }()
	return b
}

// kill ends the client without warning. It reports whether there was one left.
func (b *backfilling) kill() bool {
	_ = b.cmd.Process.Kill()
	err := <-b.exited
	b.exited <- err
	var exit *exec.ExitError
	return errors.As(err, &exit) && !exit.Exited()
}

// end waits for a client to end by itself, which has to be well.
func (b *backfilling) end(t *testing.T) {
	t.Helper()
	select {
	case err := <-b.exited:
		if err != nil {
			t.Fatalf("backfill: %v\n%s", err, b.said.String())
		}
	case <-time.After(2 * time.Minute):
		_ = b.cmd.Process.Kill()
		t.Fatal("the backfill does not end")
	}
}

// check compares each trainee's stored log with the file, and the revision with the number of batches.
func (a *arena) check(path string) {
	a.t.Helper()
	log, err := readLog(nil, path, "")
	if err != nil || len(log.Parts) != a.crowd {
		a.t.Fatalf("%v, %v", err, log)
	}
	by := dialAgain(a.t, a.p.listen.GRPC, a.key)
	for _, part := range log.Parts {
		entries, writes := by.log(a.t, part.Trainee)
		compareEntries(a.t, entries, part)
		// Batches that arrive together share a write; one that was applied again adds one.
		if most := batchesOfAFile / a.crowd; writes < 1 || writes > most {
			a.t.Errorf("%s: %d writes for %d batches", part.Trainee, writes, most)
		}
	}
}

// again brings a file once more: the server counts each entry as applied once.
func (a *arena) again(path string) {
	a.t.Helper()
	b := a.backfill(path)
	b.end(a.t)
	if said := b.said.String(); !strings.Contains(said, ", 0 entries sent, 0 rows refused, ") || strings.Contains(said, "refused by the server") {
		a.t.Errorf("again: %s", said)
	}
}

// inArenas runs several arenas beside each other, since most of each is waiting. In
// one half of them a file is one trainee's, in the other it is of several. do
// makes one file's worth of at most most faults, and returns how many it made.
func inArenas(t *testing.T, env []string, faults int, budget func(*rand.Rand) (up, down int64), do func(a *arena, path string, most int) int) {
	t.Helper()
	const arenas = 4
	rng := trials.Chance(t)
	buildBinary(t)
	var mu sync.Mutex
	made, files := 0, 0
	t.Run("arenas", func(t *testing.T) {
		for n := range arenas {
			rng := trials.Apart(rng)
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				lines := trials.Apart(rng)
				var drawing sync.Mutex
				a := newArena(t, env, fmt.Sprintf("arena-%d", n), []int{1, 4}[n%2], rng, func() (int64, int64) {
					drawing.Lock()
					defer drawing.Unlock()
					return budget(lines)
				})
				// Only what serves already need bear the death of a database that the arenas
				// share: a server or a command that starts without one ends.
				t.Parallel()
				mine, want := 0, (faults+arenas-1)/arenas
				for round := 0; mine < want && round < 2*want && !t.Failed(); round++ {
					path := a.file()
					mine += do(a, path, want-mine)
					a.check(path)
					a.again(path)
				}
				if err := a.p.end(syscall.SIGTERM); err != nil {
					t.Error(err)
				}
				mu.Lock()
				defer mu.Unlock()
				made, files = made+mine, files+a.files
			})
		}
	})
	t.Logf("%d faults in the uploads of %d files of %d batches", made, files, batchesOfAFile)
	if made < faults {
		t.Errorf("%d faults, want %d: nothing was proved", made, faults)
	}
}

func noBudget(*rand.Rand) (up, down int64) { return unbounded() }

// longestMoment is about half of what the upload of a file takes on a quiet machine.
const longestMoment = 40 * time.Millisecond

// moment waits until a batch is on its way and then for a random time. It reports
// whether the client is still there.
func (a *arena) moment(b *backfilling) bool {
	a.t.Helper()
	select {
	case <-a.line.sent: // left over from before
	default:
	}
	select {
	case <-a.line.sent:
	case err := <-b.exited:
		b.exited <- err
		return false
	case <-time.After(time.Minute):
		a.t.Fatalf("nothing is sent:\n%s", b.said.String())
	}
	time.Sleep(between(a.rng, 0, longestMoment))
	select {
	case err := <-b.exited:
		b.exited <- err
		return false
	default:
		return true
	}
}

// killing kills with kill while a file is brought.
func killing(kill func(a *arena)) func(a *arena, path string, most int) int {
	return func(a *arena, path string, most int) (made int) {
		b := a.backfill(path)
		for made < most && a.moment(b) {
			kill(a)
			made++
		}
		b.end(a.t)
		return made
	}
}

func TestBackfill_ServerIsKilled(t *testing.T) {
	inArenas(t, nil, trials.Count(100, 2000), noBudget, killing((*arena).killServer))
}

// The same over PostgreSQL, where rows go ahead of the rest of their transaction.
func TestBackfill_ServerIsKilled_PostgreSQL(t *testing.T) {
	_, env := postgresFor(t)
	inArenas(t, env, trials.Count(20, 200), noBudget, killing((*arena).killServer))
}

func TestBackfill_DatabaseIsKilled(t *testing.T) {
	db, env := postgresFor(t)
	var one sync.Mutex // database, which all arenas share
	inArenas(t, env, trials.Count(12, 200), noBudget, killing(func(a *arena) {
		one.Lock()
		defer one.Unlock()
		db.Kill()
		if err := db.Run(); err != nil {
			a.t.Error(err)
		}
	}))
}

func TestBackfill_ClientIsKilled(t *testing.T) {
	inArenas(t, nil, trials.Count(50, 1000), noBudget, func(a *arena, path string, most int) (made int) {
		b := a.backfill(path)
		for made < most && a.moment(b) && b.kill() {
			made++
			b = a.backfill(path)
		}
		b.end(a.t)
		return made
	})
}

// Each connection is cut after a random number of bytes, one way or the other.
func TestBackfill_LineIsCut(t *testing.T) {
	budget := func(rng *rand.Rand) (up, down int64) {
		if rng.IntN(2) == 0 {
			return rng.Int64N(300 << 10), -1
		}
		return -1, rng.Int64N(600) // an answer is some 80 bytes
	}
	inArenas(t, nil, trials.Count(50, 1000), budget, func(a *arena, path string, _ int) int {
		before := a.line.cutsSoFar()
		a.backfill(path).end(a.t)
		return a.line.cutsSoFar() - before
	})
}

// Two clients that bring one file at once, while the server is killed.
func TestBackfill_TwoClientsRace(t *testing.T) {
	inArenas(t, nil, trials.Count(8, 200), noBudget, func(a *arena, path string, most int) (made int) {
		one, two := a.backfill(path), a.backfill(path)
		if a.moment(one) {
			a.killServer()
			made++
		}
		one.end(a.t)
		two.end(a.t)
		return made
	})
}
