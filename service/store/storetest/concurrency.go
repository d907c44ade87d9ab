package storetest

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var concurrency = []testCase{
	{"ConcurrentUpsert", concurrentUpsert},
	{"ConcurrentTrainees", concurrentTrainees},
	{"ConcurrentCreate", concurrentCreate},
	{"ConcurrentSameRequest", concurrentSameRequest},
	{"ConcurrentSameCreation", concurrentSameCreation},
	{"SnapshotIsNeverTorn", snapshotIsNeverTorn},
}

const callers = 16

// together runs f in 16 goroutines and waits for all.
func together(f func(i int)) {
	var all sync.WaitGroup
	for i := range callers {
		all.Go(func() { f(i) })
	}
	all.Wait()
}

// addOne reads the reading of a day and writes it back, one more.
func addOne(tx store.Tx, day engine.Day) error {
	found, err := tx.Entries(store.EntryQuery{From: day, To: day, Limit: 1})
	if err != nil {
		return err
	}
	kg := 0.0
	if len(found) == 1 {
		kg = found[0].Fact.(engine.WeighIn).Weight.Value
	}
	return tx.PutEntries([]engine.Entry{weighIn(day, kg+1)})
}

// Of 16 callers who each read, add and write 25 times, none fails, none is lost,
// and each gets a revision of its own.
func concurrentUpsert(t *testing.T, s store.Store) {
	const each = 25
	create(t, s, ada)
	var revisions sync.Map
	together(func(int) {
		for range each {
			_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				return func(h store.Head) ([]byte, error) {
					if _, twice := revisions.LoadOrStore(h.Revision, true); twice {
						t.Errorf("revision %d twice", h.Revision)
					}
					return nil, nil
				}, addOne(tx, day0)
			})
			if err != nil {
				t.Errorf("update: %v", err)
			}
		}
	})
	same(t, "sum", logOf(t, s, ada), []engine.Entry{weighIn(day0, callers*each)})
	same(t, "rolled up", snapshot(t, s, ada, day0).Window.Days, []engine.WindowDay{{WeightKg: engine.Some(callers * each), Readings: 1}})
	same(t, "revision", headOf(t, s, ada).Revision, int64(1+callers*each))
}

// Writes on different trainees do not get into each other's way.
func concurrentTrainees(t *testing.T, s store.Store) {
	scope := func(i int) store.Scope {
		return store.Scope{Tenant: fmt.Sprint("gym-", i%2), Trainee: fmt.Sprint("trainee-", i/2)}
	}
	for i := range callers {
		create(t, s, scope(i))
	}
	together(func(i int) {
		for n := range 10 {
			if err := tryUpdate(t.Context(), s, scope(i), func(tx store.Tx) error { return addOne(tx, day0+engine.Day(i)) }); err != nil {
				t.Errorf("update %d: %v", n, err)
			}
			if _, err := s.Snapshot(t.Context(), scope(i), day0); err != nil {
				t.Errorf("snapshot: %v", err)
			}
		}
	})
	for i := range callers {
		same(t, "log", logOf(t, s, scope(i)), []engine.Entry{weighIn(day0+engine.Day(i), 10)})
		same(t, "revision", headOf(t, s, scope(i)).Revision, int64(11))
	}
}

func concurrentCreate(t *testing.T, s store.Store) {
	var made atomic.Int32
	var winner atomic.Value
	together(func(i int) {
		name := fmt.Sprint("caller ", i)
		_, err := s.Create(t.Context(), ada, store.Once{}, store.Trainee{DisplayName: name}, answering(say("")))
		switch {
		case err == nil:
			made.Add(1)
			winner.Store(name)
		case !errors.Is(err, store.ErrExists):
			t.Errorf("create: %v", err)
		}
	})
	same(t, "made", made.Load(), int32(1))
	snap := snapshot(t, s, ada, day0)
	same(t, "name", any(snap.Trainee.DisplayName), winner.Load())
	same(t, "revision", snap.Head.Revision, int64(1))
}

// 16 calls with one request id have one effect and equal answers.
func concurrentSameRequest(t *testing.T, s store.Store) {
	create(t, s, ada)
	var answers [callers][]byte
	together(func(i int) {
		var err error
		answers[i], err = s.Update(t.Context(), ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
			return func(h store.Head) ([]byte, error) {
				return fmt.Appendf(nil, "by caller %d at %d", i, h.Revision), nil
			}, addOne(tx, day0)
		})
		if err != nil {
			t.Errorf("update: %v", err)
		}
	})
	for _, a := range answers {
		same(t, "answer", string(a), string(answers[0]))
	}
	same(t, "log", logOf(t, s, ada), []engine.Entry{weighIn(day0, 1)})
	same(t, "revision", headOf(t, s, ada).Revision, int64(2))
}

func concurrentSameCreation(t *testing.T, s store.Store) {
	var answers [callers][]byte
	together(func(i int) {
		var err error
		answers[i], err = s.Create(t.Context(), ada, once("r", "h"), fullTrainee(), answering(func(h store.Head) ([]byte, error) {
			return fmt.Appendf(nil, "by caller %d: %s", i, h.Incarnation), nil
		}))
		if err != nil {
			t.Errorf("create: %v", err)
		}
	})
	for _, a := range answers {
		same(t, "answer", string(a), string(answers[0]))
	}
	same(t, "revision", headOf(t, s, ada).Revision, int64(1))
}

// "all read in one transaction"; "Two equal heads name the same content for
// ever". A writer keeps name, plan, its decisions and three days in step with the
// revision, and rebuilds the trainee now and then, while readers look.
func snapshotIsNeverTorn(t *testing.T, s store.Store) {
	const lives, writes = 3, 40
	inStep := func(snap store.Snapshot) error {
		r := float64(snap.Head.Revision)
		if r == 1 { // just created
			if len(snap.Window.Days) != 0 || snap.Plan != nil {
				return fmt.Errorf("a new trainee has %d days, plan %v", len(snap.Window.Days), snap.Plan)
			}
			return nil
		}
		if snap.Trainee.DisplayName != fmt.Sprint(r) || snap.Plan == nil || snap.Plan.PacePctPerWeek != r || len(snap.Plan.Decisions) != int(r)-1 {
			return fmt.Errorf("at revision %v: name %q, plan %+v", r, snap.Trainee.DisplayName, snap.Plan)
		}
		// The last day is there at even revisions only.
		if len(snap.Window.Days) != 3+int(snap.Head.Revision+1)%2 {
			return fmt.Errorf("at revision %v: %d days", r, len(snap.Window.Days))
		}
		for _, d := range snap.Window.Days[:3] {
			if d.WeightKg.V != r {
				return fmt.Errorf("at revision %v: %v kg", r, d.WeightKg)
			}
		}
		return nil
	}
	write := func(tx store.Tx) error {
		h := tx.Head()
		r := float64(h.Revision)
		t, err := tx.Trainee()
		if err != nil {
			return err
		}
		t.DisplayName = fmt.Sprint(r)
		plan := engine.Plan{ID: "p", PacePctPerWeek: r}
		put := tx.PutPlan
		if h.Revision == 2 {
			put = tx.InsertPlan
		}
		_, planErr := put(plan)
		_, decisionErr := tx.InsertDecision("p", decision(t.DisplayName, day0), nil)
		days := []engine.Entry{weighIn(day0, r), weighIn(day0+1, r), weighIn(day0+2, r)}
		var deleteErr error
		if h.Revision%2 == 0 {
			days = append(days, weighIn(day0+3, r))
		} else {
			deleteErr = tx.DeleteEntry(weighIn(day0+3, 0).ID())
		}
		return errors.Join(tx.PutTrainee(t), planErr, decisionErr, deleteErr, tx.PutEntries(days))
	}
	create(t, s, ada)
	done := make(chan struct{})
	var looks atomic.Int64
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				snap, err := s.Snapshot(t.Context(), ada, day0)
				if errors.Is(err, store.ErrNotFound) { // between two lives
					continue
				}
				if err == nil {
					err = inStep(snap)
				}
				if err != nil {
					t.Error(err)
					return
				}
				looks.Add(1)
			}
		})
	}
	defer func() { // also when the writer fails
		close(done)
		readers.Wait()
		if looks.Load() == 0 {
			t.Error("no reader saw anything")
		}
	}()
	for life := range lives {
		for range writes {
			must(t, tryUpdate(t.Context(), s, ada, write))
			must(t, inStep(snapshot(t, s, ada, day0)))
		}
		if life < lives-1 {
			_, err := s.Erase(t.Context(), ada, act())
			must(t, err)
			create(t, s, ada)
		}
	}
}
