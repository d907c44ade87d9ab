package storetest

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var transactions = []testCase{
	{"ErrorRollsEverythingBack", errorRollsBack},
	{"AnswerErrorRollsEverythingBack", answerErrorRollsBack},
	{"PanicRollsEverythingBack", panicRollsBack},
	{"RefusalInsideMayBeSurvived", refusalMayBeSurvived},
	{"ReadsSeeTheirOwnWrites", readsSeeOwnWrites},
	{"UpdateReturnsTheAnswer", updateReturnsTheAnswer},
	{"ViewIsOneConsistentRead", viewIsConsistent},
	{"ViewReturnsTheErrorOfItsBody", viewReturnsError},
}

// "Any error rolls everything back": head, rows and request id.
func errorRollsBack(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	_, err := s.Update(t.Context(), ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
		must(t, overturn(tx))
		return nil, errStop
	})
	wantErr(t, "update", err, errStop)
	same(t, "state", stateOf(t, s, ada), before)
	wantFree(t, s, "r")
}

func answerErrorRollsBack(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	_, err := s.Update(t.Context(), ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
		must(t, overturn(tx))
		return func(store.Head) ([]byte, error) { return nil, errStop }, nil
	})
	wantErr(t, "update", err, errStop)
	same(t, "state", stateOf(t, s, ada), before)
	wantFree(t, s, "r")
}

// A panic is the caller's to recover; it must not leave a half write or a lock.
func panicRollsBack(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	func() {
		defer func() {
			if r := recover(); r != errStop {
				t.Errorf("recovered %v", r)
			}
		}()
		_, _ = s.Update(t.Context(), ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
			must(t, overturn(tx))
			panic(errStop)
		})
	}()
	same(t, "state", stateOf(t, s, ada), before)
	wantFree(t, s, "r")
}

// wantFree fails unless a request id of ada is not on record: any record would
// refuse this body or answer in its place.
func wantFree(t *testing.T, s store.Store, id string) {
	t.Helper()
	got, err := s.Update(t.Context(), ada, once(id, "a body never sent"), func(store.Tx) (store.Answer, error) { return say("free"), nil })
	must(t, err)
	same(t, "answer", string(got), "free")
}

// A refused step leaves the transaction usable: its caller may do something else.
func refusalMayBeSurvived(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	update(t, s, ada, func(tx store.Tx) {
		wantErr(t, "delete", tx.DeleteEntry(weighIn(day0+5, 0).ID()), store.ErrNotFound)
		_, err := tx.InsertPlan(fullPlan("plan-a", engine.PlanClosed))
		wantErr(t, "insert plan", err, store.ErrExists)
		_, err = tx.PutPlan(fullPlan("plan-a", engine.PlanOpen))
		wantErr(t, "put plan", err, store.ErrExists)
		_, err = tx.InsertDecision("plan-a", decision("first", day0), nil)
		wantErr(t, "insert decision", err, store.ErrExists)
		_, err = tx.InsertDecision("nowhere", decision("d", day0), nil)
		wantErr(t, "insert decision", err, store.ErrNotFound)
		must(t, tx.PutEntries([]engine.Entry{weighIn(day0+5, 68)}))
	})
	if d := snapshot(t, s, ada, day0).Window.At(day0 + 5); d.WeightKg != engine.Some(68) {
		t.Errorf("day %+v", d)
	}
}

// "Its reads see its own writes", and nobody else's do before the commit.
func readsSeeOwnWrites(t *testing.T, s store.Store) {
	create(t, s, ada)
	before := stateOf(t, s, ada)
	update(t, s, ada, func(tx store.Tx) {
		must(t, fill(tx))
		same(t, "state outside", stateOf(t, s, ada), before)
		same(t, "entries", allEntries(t, tx), append(everyFact(), weighIn(day0+2, 70.5)))
		must(t, overturn(tx))
		if got := allEntries(t, tx); len(got) != len(everyFact())+2 || got[len(got)-1] != weighIn(day0+9, 98) {
			t.Errorf("%d entries, last %+v", len(got), got[len(got)-1])
		}
		same(t, "name", traineeOf(t, tx).DisplayName, "overturned")
		plans, err := tx.Plans("", 10)
		must(t, err)
		if len(plans) != 3 || plans[1].State != engine.PlanClosed {
			t.Errorf("plans %+v", plans)
		}
		got, err := tx.Decisions("plan-a", "first", 10)
		must(t, err)
		if len(got) != 1 || got[0].ID != "second" {
			t.Errorf("decisions %+v", got)
		}
		u, err := tx.Upload("file")
		must(t, err)
		same(t, "upload", u.NextSeq, int64(4))
	})
}

// "returns the encoded answer: w's own".
func updateReturnsTheAnswer(t *testing.T, s store.Store) {
	create(t, s, ada)
	for _, text := range []string{"answer", "", "\x00\xff"} {
		got, err := s.Update(t.Context(), ada, store.Once{}, func(store.Tx) (store.Answer, error) { return say(text), nil })
		must(t, err)
		same(t, "answer", string(got), text)
	}
}

// "View is one consistent read of one trainee": a write that commits in its
// midst, even an erasure, is not seen.
func viewIsConsistent(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	look := func(v store.View) {
		same(t, "head", v.Head(), before.Head)
		same(t, "trainee", traineeOf(t, v), before.Trainee)
		same(t, "entries", allEntries(t, v), before.Entries)
		plans, err := v.Plans("", 10)
		must(t, err)
		same(t, "plans", plans, before.Plans)
		for id, want := range before.Decisions {
			got, err := v.Decisions(id, "", 10)
			must(t, err)
			same(t, "decisions", got, want)
		}
		u, err := v.Upload("file")
		must(t, err)
		same(t, "upload", &u, before.Upload)
	}
	view(t, s, ada, func(v store.View) {
		must(t, tryUpdate(t.Context(), s, ada, overturn))
		look(v)
		_, err := s.Erase(t.Context(), ada, act())
		must(t, err)
		look(v)
	})
	wantGone(t, s, ada)
}

func viewReturnsError(t *testing.T, s store.Store) {
	create(t, s, ada)
	wantErr(t, "view", s.View(t.Context(), ada, func(store.View) error { return errStop }), errStop)
}
