//go:build unix

package redisbag_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres"
	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/service/store/sqlite"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
	"example.com/steelyard/service/window/tiered"
)

// The randomized test: several replicas over one store and one Redis, writers,
// readers, and a nemesis that does to Redis whatever may happen to one. A reader
// notes the last acknowledged write before it asks, and what it gets must be of
// that write or a later one, with a content that is of the label it carries.

const (
	replicas = 3
	writers  = 4
	readers  = 12
	trainees = 8
	day0     = engine.Day(20000)

	deedKinds = 6 // what a nemesis can do
)

// replica serves reads and is told of writes, as a process would.
type replica interface {
	read(ctx context.Context, sc store.Scope) (store.Snapshot, error)
	// wrote runs between the commit of a head and the answer of its write.
	wrote(ctx context.Context, sc store.Scope, made store.Head)
}

// chosen is the design: writes tell Redis nothing, and their own process what to load.
type chosen struct{ *window.Source }

func (c chosen) read(ctx context.Context, sc store.Scope) (store.Snapshot, error) {
	snap, _, err := c.Snapshot(ctx, sc, day0)
	return snap, err
}
func (c chosen) wrote(_ context.Context, sc store.Scope, made store.Head) { c.Written(sc, made) }

// world is one run.
type world struct {
	store  store.Store
	server *redistest.Server
	line   *redistest.Proxy

	replicas []replica

	lives  sync.Map // incarnation -> int64: the trainee's 1st, 2nd, ... life
	acked  [trainees]atomic.Int64
	ending [trainees]atomic.Int64 // the life whose erasure has begun

	reads, writes, mismatches atomic.Int64
	aheads                    atomic.Int64 // windows loaded ahead
	origins                   [2]atomic.Int64
	deeds                     [deedKinds]atomic.Int64
	violation                 atomic.Pointer[string]
	end                       context.CancelFunc
}

func (w *world) violated(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	w.violation.CompareAndSwap(nil, &text)
	w.end()
}

// position orders what happens to a trainee: life 1 at revision 1, 2, ..., its
// erasure, life 2 at revision 1, ...
func position(life, revision int64) int64 { return life<<33 | revision }
func erased(life int64) int64             { return life<<33 | 1<<32 }

func (w *world) positionOf(h store.Head) int64 {
	life, ok := w.lives.Load(h.Incarnation)
	if !ok {
		return -1 // nobody ever had it
	}
	return position(life.(int64), h.Revision)
}

func raise(to *atomic.Int64, v int64) {
	for {
		old := to.Load()
		if v <= old || to.CompareAndSwap(old, v) {
			return
		}
	}
}

func labelText(h store.Head) string {
	return h.Incarnation + " " + strconv.FormatInt(h.Revision, 10)
}

// stamp makes the content tell its label, in the profile and in the log.
func stamp(tx store.Tx) (store.Answer, error) {
	h := tx.Head()
	if err := tx.PutTrainee(store.Trainee{DisplayName: labelText(h), TimeZone: "UTC"}); err != nil {
		return nil, err
	}
	err := tx.PutEntries([]engine.Entry{{Day: day0 + engine.Day(h.Revision%5), Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(weight(h))}}})
	return func(store.Head) ([]byte, error) { return []byte(labelText(h)), nil }, err
}

func weight(h store.Head) float64 { return 40 + float64(h.Revision)/1000 }

// create begins a life.
func (w *world) create(ctx context.Context, i int, life int64) error {
	var h store.Head
	_, err := w.store.Create(ctx, trainee(i), store.Once{}, store.Trainee{}, func(tx store.Tx) (store.Answer, error) {
		h = tx.Head()
		w.lives.Store(h.Incarnation, life) // before anyone can see it
		return stamp(tx)
	})
	if err == nil {
		raise(&w.acked[i], position(life, h.Revision))
	}
	return err
}

func trainee(i int) store.Scope { return store.Scope{Tenant: "gym", Trainee: strconv.Itoa(i)} }

// write writes once. Sometimes the replica dies between commit and answer, and
// the caller asks another one again with the same id.
func (w *world) write(ctx context.Context, rnd *rand.Rand, id string) {
	i := rnd.IntN(trainees)
	sc, once := trainee(i), store.Once{Method: "/w", RequestID: id, BodyHash: "h"}
	answer, err := w.store.Update(ctx, sc, once, stamp)
	if rnd.IntN(8) == 0 {
		answer, err = w.store.Update(ctx, sc, once, stamp) // nothing ran after the commit of the first
	} else if err == nil {
		w.replicas[rnd.IntN(replicas)].wrote(ctx, sc, w.answered(answer))
	}
	switch {
	case err == nil:
		raise(&w.acked[i], w.positionOf(w.answered(answer)))
		w.writes.Add(1)
	case !errors.Is(err, store.ErrNotFound) && ctx.Err() == nil:
		w.violated("write: %v", err)
	}
}

// answered is the head of a stamp's answer.
func (w *world) answered(answer []byte) (h store.Head) {
	if _, err := fmt.Sscanf(string(answer), "%s %d", &h.Incarnation, &h.Revision); err != nil {
		w.violated("answer %q", answer)
	}
	return h
}

func (w *world) read(ctx context.Context, rnd *rand.Rand) {
	i := rnd.IntN(trainees)
	floor := w.acked[i].Load()
	snap, err := w.replicas[rnd.IntN(replicas)].read(ctx, trainee(i))
	switch {
	case errors.Is(err, store.ErrNotFound):
		if life := floor >> 33; w.ending[i].Load() < life {
			w.violated("trainee %d is not found in its life %d", i, life)
		}
		return
	case err != nil:
		if ctx.Err() == nil {
			w.violated("read: %v", err)
		}
		return
	}
	w.reads.Add(1)
	if at := w.positionOf(snap.Head); at < floor {
		w.violated("trainee %d: a read got position %#x after %#x was acknowledged (%d reads)", i, at, floor, w.reads.Load())
	}
	if snap.Trainee.ID != trainee(i).Trainee || snap.Trainee.DisplayName != labelText(snap.Head) ||
		snap.Window.At(day0+engine.Day(snap.Head.Revision%5)).WeightKg != engine.Some(weight(snap.Head)) {
		w.violated("trainee %d: content %q under label %q", i, snap.Trainee.DisplayName, labelText(snap.Head))
	}
}

// deeds are what the nemesis does.
var deeds = [deedKinds]func(*world, context.Context, *rand.Rand){
	func(w *world, ctx context.Context, _ *rand.Rand) { w.server.Client.FlushAll(ctx) },
	func(w *world, ctx context.Context, rnd *rand.Rand) { // it hangs
		w.server.Pause()
		time.Sleep(time.Duration(30+rnd.IntN(80)) * time.Millisecond)
		w.server.Resume()
	},
	func(w *world, ctx context.Context, rnd *rand.Rand) { // a replica that lagged is promoted
		keys, _ := w.server.Client.Keys(ctx, "*").Result()
		old := map[string]string{}
		for _, k := range keys {
			old[k], _ = w.server.Client.Dump(ctx, k).Result()
		}
		time.Sleep(time.Duration(10+rnd.IntN(60)) * time.Millisecond)
		for _, k := range keys {
			w.server.Client.RestoreReplace(ctx, k, time.Hour, old[k])
		}
	},
	func(w *world, _ context.Context, rnd *rand.Rand) {
		w.line.Slow(time.Duration(10+rnd.IntN(60)) * time.Millisecond)
		time.Sleep(50 * time.Millisecond)
		w.line.Heal()
	},
	func(w *world, _ context.Context, _ *rand.Rand) {
		w.line.Reset()
		time.Sleep(20 * time.Millisecond)
		w.line.Heal()
	},
	func(w *world, ctx context.Context, rnd *rand.Rand) { // erased, and the same id made again
		i := rnd.IntN(trainees)
		life := w.acked[i].Load() >> 33
		w.ending[i].Store(life)
		if _, err := w.store.Erase(ctx, trainee(i), store.AuditRecord{ID: store.NewAuditID(time.Now())}); err != nil {
			if ctx.Err() == nil {
				w.violated("erase: %v", err)
			}
			return
		}
		raise(&w.acked[i], erased(life))
		time.Sleep(time.Duration(rnd.IntN(3)) * time.Millisecond)
		if err := w.create(ctx, i, life+1); err != nil && ctx.Err() == nil {
			w.violated("create: %v", err)
		}
	},
}

// onSQLite opens an empty store.
func onSQLite(t *testing.T) store.Store {
	t.Helper()
	db, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

// onPostgres opens an empty store over a server of its own.
func onPostgres(t *testing.T) store.Store {
	t.Helper()
	server, err := pgtest.Start()
	if errors.Is(err, pgtest.ErrNoBinaries) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(server.Close)
	name := server.Database(t, "")
	db, err := postgres.Open(t.Context(), server.SocketURL(pgtest.Runtime, name), server.SocketURL(pgtest.Owner, name), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

// newWorld makes a world over a store whose replicas are made by design.
func newWorld(t *testing.T, db store.Store, design func(w *world, n int) replica) *world {
	t.Helper()
	server := redistest.Start(t)
	w := &world{store: db, server: server, line: redistest.NewProxy(t, server), end: func() {}}
	for i := range trainees {
		if err := w.create(t.Context(), i, 1); err != nil {
			t.Fatal(err)
		}
	}
	for n := range replicas {
		w.replicas = append(w.replicas, design(w, n))
	}
	return w
}

// run runs for so long, or until the first violation, which it returns.
func (w *world) run(t *testing.T, seed uint64, d time.Duration) (violation string, after time.Duration) {
	start := time.Now()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	w.end = cancel
	var wg sync.WaitGroup
	each := func(n int, do func(*rand.Rand, int)) {
		for k := range n {
			rnd := rand.New(rand.NewPCG(seed, uint64(k)<<8+uint64(n)))
			wg.Go(func() {
				for step := 0; ctx.Err() == nil; step++ {
					do(rnd, k<<32|step)
				}
			})
		}
	}
	each(writers, func(rnd *rand.Rand, id int) {
		w.write(ctx, rnd, strconv.Itoa(id))
		time.Sleep(time.Duration(rnd.IntN(2000)) * time.Microsecond) // so that there is something to hit
	})
	each(readers, func(rnd *rand.Rand, _ int) { w.read(ctx, rnd) })
	var ahead []int // each deed comes once in so many, in any order
	each(1, func(rnd *rand.Rand, _ int) {
		time.Sleep(time.Duration(20+rnd.IntN(60)) * time.Millisecond)
		if len(ahead) == 0 {
			ahead = rnd.Perm(len(deeds))
		}
		n := ahead[0]
		ahead = ahead[1:]
		deeds[n](w, ctx, rnd)
		w.deeds[n].Add(1)
	})
	wg.Wait()
	if v := w.violation.Load(); v != nil {
		violation = *v
	}
	return violation, time.Since(start)
}

// batched is a store that reads many heads at once, so that reads share them.
type batched struct{ store.Store }

func (b batched) Heads(ctx context.Context, scopes []store.Scope) ([]window.HeadResult, error) {
	out := make([]window.HeadResult, len(scopes))
	for i, sc := range scopes {
		h, err := b.Head(ctx, sc)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return nil, err
		}
		out[i] = window.HeadResult{Head: h, Found: err == nil}
	}
	return out, nil
}

// ours is the design: one replica with Redis alone, one that overlaps and reads
// heads in batches, one with a bag of its own in front; each checks one in seven
// of its hits.
func ours(t *testing.T) func(w *world, n int) replica {
	return func(w *world, n int) replica {
		r := open(t, w.server, w.line.Addr, func(o *redisbag.Options) { o.Budget, o.Pause = hurried, 30*time.Millisecond })
		var bag window.Bag = r.Bag
		var snapshots store.Snapshots = w.store
		options := []window.Option{window.Checked(7, func(context.Context) { w.mismatches.Add(1) }),
			window.CountAhead(func(context.Context) { w.aheads.Add(1) })}
		switch n {
		case 1:
			options = append(options, window.Overlapped())
			if _, can := w.store.(window.Heads); !can { // PostgreSQL's does by itself
				snapshots = batched{w.store}
			}
		case 2:
			near, err := window.NewLocal(100_000)
			if err != nil {
				t.Fatal(err)
			}
			bag = tiered.New(near, bag)
		}
		source := window.NewSource(snapshots, bag, func(_ context.Context, o window.Origin) { w.origins[o].Add(1) }, options...)
		t.Cleanup(func() {
			if err := source.Close(context.Background()); err != nil {
				t.Error(err)
			}
		})
		return chosen{source}
	}
}

func TestRandom_NoReadIsOlderThanAnAcknowledgedWrite(t *testing.T) {
	d, seeds := 5*time.Second, []uint64{1, 2, 3}
	switch {
	case os.Getenv("STEELYARD_SOAK") != "":
		d = 30 * time.Second
	case testing.Short():
		d, seeds = 2*time.Second, seeds[:1]
	}
	for _, c := range []struct {
		name string
		open func(*testing.T) store.Store
	}{{"SQLite", onSQLite}, {"PostgreSQL", onPostgres}} {
		for _, seed := range seeds {
			t.Run(c.name+" "+strconv.FormatUint(seed, 10), func(t *testing.T) {
				w := newWorld(t, c.open(t), ours(t))
				violation, _ := w.run(t, seed, d)
				if violation != "" {
					t.Fatal(violation)
				}
				if n := w.mismatches.Load(); n != 0 {
					t.Errorf("%d mismatches", n)
				}
				hits := w.origins[window.FromBag].Load()
				t.Logf("%d reads, %d of them from a bag, %d writes, %d windows loaded ahead, deeds %d", w.reads.Load(), hits, w.writes.Load(), w.aheads.Load(), w.deedCounts())
				done := w.deedCounts()
				if hits == 0 || hits == w.reads.Load() || w.writes.Load() == 0 || w.aheads.Load() == 0 || slices.Contains(done[:], 0) {
					t.Error("the run shows nothing")
				}
			})
		}
	}
}

func (w *world) deedCounts() (out [deedKinds]int64) {
	for i := range out {
		out[i] = w.deeds[i].Load()
	}
	return out
}
