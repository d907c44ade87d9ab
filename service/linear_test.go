package service_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/sqlite"
	"example.com/steelyard/service/window"
	"example.com/steelyard/testdata/trials"
)

// What clients of a trainee see, in whatever order their calls overlap, has to be
// what some order of the same calls one after the other would have shown: each
// takes effect at one instant between its begin and its end. A search for such an
// order is the judge; it knows nothing of heads, bags and stores.

// held is what a read shows: the number of the revision, and the one reading.
type held struct {
	revision int64
	kg       float64
}

// wrote is a write of a reading; its output is the revision, 0 where the answer was lost.
type wrote struct{ kg float64 }

// register is a trainee who counts writes and keeps the last one.
var register = porcupine.Model{
	Init: func() any { return held{revision: 1} },
	Step: func(state, input, output any) (bool, any) {
		now := state.(held)
		w, isWrite := input.(wrote)
		if !isWrite {
			return output.(held) == now, now
		}
		next := held{now.revision + 1, w.kg}
		told := output.(int64)
		return told == 0 || told == next.revision, next
	},
}

// account is one trainee as one client reaches it.
type account struct {
	write func(ctx context.Context, kg float64) (revision int64, err error)
	read  func(ctx context.Context) (held, error)
}

const (
	linearClients = 4
	linearCalls   = 15 // of each
)

// history lets clients write and read, and returns what they did and saw. Some
// writes are given up on so early that nobody knows what became of them.
func history(t *testing.T, rng *rand.Rand, of func(client int) account, lost *atomic.Int64) []porcupine.Operation {
	t.Helper()
	began := time.Now()
	now := func() int64 { return time.Since(began).Nanoseconds() }
	var (
		mu      sync.Mutex
		ops     []porcupine.Operation
		clients sync.WaitGroup
		never   = int64(time.Hour)
	)
	for c := range linearClients {
		a, rng := of(c), trials.Apart(rng)
		clients.Go(func() {
			for n := range linearCalls {
				op := porcupine.Operation{ClientId: c, Call: now()}
				if rng.IntN(5) < 2 {
					kg := 50 + float64(c*linearCalls+n)/10
					ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
					if rng.IntN(10) == 0 {
						cancel()
						ctx, cancel = context.WithTimeout(t.Context(), time.Duration(rng.IntN(3000))*time.Microsecond)
					}
					revision, err := a.write(ctx, kg)
					cancel()
					op.Input, op.Output, op.Return = wrote{kg}, revision, now()
					if err != nil {
						if s, _ := fault.Status(err); !isLost(s.Code()) && !isLost(status.Code(err)) {
							t.Errorf("write: %v", err)
							return
						}
						lost.Add(1)
						op.Output, op.Return = int64(0), never
					}
				} else {
					seen, err := a.read(t.Context())
					if err != nil {
						t.Errorf("read: %v", err)
						return
					}
					op.Output, op.Return = seen, now()
				}
				mu.Lock()
				ops = append(ops, op)
				mu.Unlock()
			}
		})
	}
	clients.Wait()
	return ops
}

// isLost is what a call comes to that was given up on. It may have taken effect.
func isLost(c codes.Code) bool {
	return c == codes.DeadlineExceeded || c == codes.Canceled || c == codes.ResourceExhausted
}

// mustDecide judges a history. A judge that runs out of time says nothing, so that
// is a fault of the test.
func mustDecide(t *testing.T, ops []porcupine.Operation) (linear bool) {
	t.Helper()
	result := porcupine.CheckOperationsTimeout(register, ops, 20*time.Second)
	if result == porcupine.Unknown {
		t.Errorf("a history of %d calls could not be judged in time", len(ops))
	}
	return result == porcupine.Ok
}

// numberOf is the revision's number.
func numberOf(t *testing.T, revision string) int64 {
	t.Helper()
	_, number, _ := strings.Cut(revision, "-")
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		t.Errorf("revision %q", revision)
	}
	return n
}

// The judge finds the design that does not ask for the head at each read: it
// serves windows that are some milliseconds old. It is not enough that its reads
// are mostly right.
func TestLinear_TheJudgeFindsAStaleDesign(t *testing.T) {
	rng := trials.Chance(t)
	db, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for name, c := range map[string]struct {
		forget  time.Duration
		isRight bool
	}{"asks each time": {0, true}, "remembers the head": {20 * time.Millisecond, false}} {
		t.Run(name, func(t *testing.T) {
			var lost atomic.Int64
			found := 0
			for i := range 20 {
				sc := store.Scope{Tenant: "gym", Trainee: fmt.Sprintf("%s-%d", name[:4], i)}
				if _, err := db.Create(t.Context(), sc, store.Once{}, store.Trainee{}, nothing); err != nil {
					t.Fatal(err)
				}
				ops := history(t, rng, func(int) account { return accountOf(t, db, sc, c.forget) }, &lost)
				if !mustDecide(t, ops) {
					found++
				}
			}
			t.Logf("%d of 20 histories have no order, %d answers were lost", found, lost.Load())
			if (found == 0) != c.isRight {
				t.Errorf("%d histories have no order", found)
			}
		})
	}
}

func nothing(store.Tx) (store.Answer, error) {
	return func(store.Head) ([]byte, error) { return nil, nil }, nil
}

// accountOf is a replica of its own over a store, whose heads are as old as forget.
func accountOf(t *testing.T, db *sqlite.Store, sc store.Scope, forget time.Duration) account {
	t.Helper()
	bag, err := window.NewLocal(1000)
	if err != nil {
		t.Fatal(err)
	}
	src := window.NewSource(&forgetful{Snapshots: db, forget: forget}, bag, func(context.Context, window.Origin) {})
	first, _ := engine.DayOf(2025, 3, 3)
	return account{
		write: func(ctx context.Context, kg float64) (revision int64, err error) {
			_, err = db.Update(ctx, sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				err := tx.PutEntries([]engine.Entry{{Day: first, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(kg)}}})
				return func(h store.Head) ([]byte, error) { revision = h.Revision; return nil, nil }, err
			})
			return revision, err
		},
		read: func(ctx context.Context) (held, error) {
			snap, _, err := src.Snapshot(ctx, sc, first)
			return held{snap.Head.Revision, snap.Window.At(first).WeightKg.V}, err
		},
	}
}

// forgetful is a store that answers with the head of a while ago. 0 is never.
type forgetful struct {
	store.Snapshots
	forget time.Duration

	mu   sync.Mutex
	head store.Head
	read time.Time
}

func (f *forgetful) Head(ctx context.Context, sc store.Scope) (store.Head, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if time.Since(f.read) < f.forget {
		return f.head, nil
	}
	h, err := f.Snapshots.Head(ctx, sc)
	if err == nil {
		f.head, f.read = h, time.Now()
	}
	return h, err
}
