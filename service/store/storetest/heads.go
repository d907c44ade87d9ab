package storetest

import (
	"sync"
	"sync/atomic"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var heads = []testCase{
	{"EveryWriteRaisesTheRevisionByOne", everyWriteRaisesTheRevisionByOne},
	{"SameHeadEverywhere", sameHeadEverywhere},
	{"IncarnationsDiffer", incarnationsDiffer},
	{"TraineesDoNotShareAHead", traineesDoNotShareAHead},
	{"HeadSeesAcknowledgedWrites", headSeesAcknowledgedWrites},
}

// "the revision rises by one in the transaction of every write", whatever and
// however much is written, and the incarnation stays.
func everyWriteRaisesTheRevisionByOne(t *testing.T, s store.Store) {
	want := create(t, s, ada)
	for _, step := range []struct {
		name string
		run  func(tx store.Tx) error
	}{
		{"nothing", func(store.Tx) error { return nil }},
		{"no entries", func(tx store.Tx) error { return tx.PutEntries(nil) }},
		{"one entry", func(tx store.Tx) error { return tx.PutEntries([]engine.Entry{weighIn(day0, 70)}) }},
		{"the same entry", func(tx store.Tx) error { return tx.PutEntries([]engine.Entry{weighIn(day0, 70)}) }},
		{"delete", func(tx store.Tx) error { return tx.DeleteEntry(weighIn(day0, 0).ID()) }},
		{"trainee", func(tx store.Tx) error { return tx.PutTrainee(store.Trainee{DisplayName: "x"}) }},
		{"everything", fill},
		{"everything else", overturn},
	} {
		want.Revision++
		must(t, tryUpdate(t.Context(), s, ada, step.run))
		same(t, "head after "+step.name, headOf(t, s, ada), want)
	}
}

// The answer, the transaction, the head, a snapshot and a view agree.
func sameHeadEverywhere(t *testing.T, s store.Store) {
	create(t, s, ada)
	var inside store.Head
	told := update(t, s, ada, func(tx store.Tx) { inside = tx.Head() })
	same(t, "in the write", inside, told)
	same(t, "head", headOf(t, s, ada), told)
	same(t, "in a snapshot", snapshot(t, s, ada, day0).Head, told)
	view(t, s, ada, func(v store.View) { same(t, "in a view", v.Head(), told) })
}

func incarnationsDiffer(t *testing.T, s store.Store) {
	seen := map[string]bool{}
	for range 50 {
		h := create(t, s, ada)
		if seen[h.Incarnation] {
			t.Fatalf("incarnation %s twice", h.Incarnation)
		}
		seen[h.Incarnation] = true
		_, err := s.Erase(t.Context(), ada, act())
		must(t, err)
	}
}

func traineesDoNotShareAHead(t *testing.T, s store.Store) {
	a, b, c := create(t, s, ada), create(t, s, bo), create(t, s, adaToo)
	if a.Incarnation == b.Incarnation || a.Incarnation == c.Incarnation || b.Incarnation == c.Incarnation {
		t.Error("two trainees have one incarnation")
	}
	put(t, s, ada, weighIn(day0, 70))
	same(t, "a neighbour's head", headOf(t, s, bo), b)
	same(t, "the head of the same id elsewhere", headOf(t, s, adaToo), c)
}

// "It sees every write acknowledged before it was called."
func headSeesAcknowledgedWrites(t *testing.T, s store.Store) {
	create(t, s, ada)
	var acknowledged atomic.Int64
	acknowledged.Store(1)
	done := make(chan struct{})
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for running := true; running; {
				select {
				case <-done:
					running = false // one last look
				default:
				}
				least := acknowledged.Load()
				h, err := s.Head(t.Context(), ada)
				if err != nil || h.Revision < least {
					t.Errorf("revision %d after %d was acknowledged (%v)", h.Revision, least, err)
					return
				}
			}
		})
	}
	defer func() { // also when the writer fails
		close(done)
		readers.Wait()
	}()
	for i := range 100 {
		h := put(t, s, ada, weighIn(day0, float64(i)))
		acknowledged.Store(h.Revision)
		same(t, "head after a write", headOf(t, s, ada), h)
	}
}
