//go:build unix

package redisbag_test

import (
	"bytes"
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/redis/go-redis/v9"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
)

var (
	secret = bytes.Repeat([]byte("s"), 32)
	alice  = store.Scope{Tenant: "gym-1", Trainee: "t-alice"}
	bob    = store.Scope{Tenant: "gym-1", Trainee: "t-bob"}
)

// patient is a budget that a busy machine meets.
const patient = 2 * time.Second

// tally counts events.
type tally [redisbag.Closed + 1]atomic.Int64

func (c *tally) count(_ context.Context, e redisbag.Event) { c[e].Add(1) }

func (c *tally) of(e redisbag.Event) int64 { return c[e].Load() }

// until waits for an event to have happened n times.
func (c *tally) until(t testing.TB, e redisbag.Event, n int64) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); c.of(e) < n; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("event %d has happened %d times, not %d", e, c.of(e), n)
		}
	}
}

type setup struct {
	*redisbag.Bag
	*tally
	redis *redistest.Server
	raw   *redis.Client
	log   *syncBuffer
}

// syncBuffer is what was logged.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func open(t testing.TB, r *redistest.Server, address string, change func(*redisbag.Options)) *setup {
	t.Helper()
	client, err := redisbag.Client("redis://" + address)
	if err != nil {
		t.Fatal(err)
	}
	s := &setup{tally: &tally{}, redis: r, raw: r.Client, log: &syncBuffer{}}
	opt := redisbag.Options{Secret: secret, Budget: patient, Pause: 20 * time.Millisecond, Count: s.count, Log: slog.New(slog.NewTextHandler(s.log, nil))}
	if change != nil {
		change(&opt)
	}
	if s.Bag, err = redisbag.New(client, opt); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close(context.Background()) })
	return s
}

func start(t testing.TB) *setup {
	t.Helper()
	r := redistest.Start(t)
	return open(t, r, r.Addr, nil)
}

// snapshot is one of a trainee at a revision, with a content that tells it.
func snapshot(sc store.Scope, revision int64) store.Snapshot {
	s := store.Snapshot{
		Head:    store.Head{Incarnation: "00112233445566778899aabbccddeeff", Revision: revision},
		Trainee: store.Trainee{ID: sc.Trainee, DisplayName: "Invented Name", Created: time.Unix(1_700_000_000, 0).UTC(), Updated: time.Unix(1_700_000_000, 0).UTC()},
		Window:  engine.Window{First: 20000},
	}
	for i := range 30 {
		s.Window.Days = append(s.Window.Days, engine.WindowDay{WeightKg: engine.Some(70 + float64(i)/10 + float64(revision)), Readings: 1})
	}
	return s
}

// put puts a snapshot away and waits until it lies there.
func (s *setup) put(t testing.TB, sc store.Scope, revision int64) {
	t.Helper()
	n := s.of(redisbag.Filled)
	s.Put(t.Context(), sc, snapshot(sc, revision))
	s.until(t, redisbag.Filled, n+1)
}

// mustGet checks what is held: revision 0 is nothing, told by the given event.
func (s *setup) mustGet(t testing.TB, sc store.Scope, revision int64, e redisbag.Event) {
	t.Helper()
	n := s.of(e)
	got, ok := s.Get(t.Context(), sc)
	want := store.Snapshot{}
	if revision > 0 {
		want = snapshot(sc, revision)
	}
	if ok != (revision > 0) || !cmp.Equal(got, want, cmpopts.EquateEmpty()) {
		t.Errorf("%v: %v\n%s", sc, ok, cmp.Diff(want, got, cmpopts.EquateEmpty()))
	}
	if s.of(e) != n+1 {
		t.Errorf("event %d was not counted once", e)
	}
}

// key returns the only key that was added to those known.
func (s *setup) key(t testing.TB, known ...string) string {
	t.Helper()
	keys, err := s.raw.Keys(t.Context(), "*").Result()
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range known {
		for i := range keys {
			if keys[i] == k {
				keys = append(keys[:i], keys[i+1:]...)
				break
			}
		}
	}
	if len(keys) != 1 {
		t.Fatalf("keys %q", keys)
	}
	return keys[0]
}

func (s *setup) value(t testing.TB, key string) string {
	t.Helper()
	v, err := s.raw.Get(t.Context(), key).Result()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (s *setup) set(t testing.TB, key, value string) {
	t.Helper()
	if err := s.raw.Set(t.Context(), key, value, time.Hour).Err(); err != nil {
		t.Fatal(err)
	}
}

// truth is a store of some trainees at a revision each.
type truth struct {
	mu        sync.Mutex
	revisions map[store.Scope]int64
	loads     int
}

func (s *truth) Head(_ context.Context, sc store.Scope) (store.Head, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return snapshot(sc, s.revisions[sc]).Head, nil
}

func (s *truth) Snapshot(_ context.Context, sc store.Scope, _ engine.Day) (store.Snapshot, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loads++
	return snapshot(sc, s.revisions[sc]), nil
}

// mustServe reads through a source and checks that the answer is the present one,
// wherever it came from.
func (s *setup) mustServe(t testing.TB, src *window.Source, tr *truth, sc store.Scope) window.Origin {
	t.Helper()
	got, origin, err := src.Snapshot(t.Context(), sc, 20000)
	if err != nil {
		t.Error(err)
	}
	tr.mu.Lock()
	want := snapshot(sc, tr.revisions[sc])
	tr.mu.Unlock()
	if !cmp.Equal(got, want, cmpopts.EquateEmpty()) {
		t.Errorf("from %v: %s", origin, cmp.Diff(want, got, cmpopts.EquateEmpty()))
	}
	return origin
}

func (s *setup) source() (*window.Source, *truth) {
	tr := &truth{revisions: map[store.Scope]int64{alice: 5, bob: 5}}
	return window.NewSource(tr, s, func(context.Context, window.Origin) {}, window.Overlapped()), tr
}
