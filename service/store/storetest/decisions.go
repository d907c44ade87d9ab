package storetest

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var decisions = []testCase{
	{"InsertKeepsEveryField", insertDecisionKeepsEveryField},
	{"InsertOfATakenID", insertOfATakenDecisionID},
	{"InsertIntoNoPlan", insertIntoNoPlan},
	{"InOrderOfRecording", decisionsInOrderOfRecording},
	{"OfAPlanInItsOrder", decisionsOfAPlanInItsOrder},
	{"AfterAnIDUpToALimit", decisionsAfterAnID},
	{"NoSuchPlanOrDecision", noSuchPlanOrDecision},
}

// "Given: nil when the decision answers none."
func insertDecisionKeepsEveryField(t *testing.T, s store.Store) {
	create(t, s, ada)
	bare := engine.Decision{ID: "bare", From: -3}
	var want []store.Decision
	update(t, s, ada, func(tx store.Tx) {
		_, err := tx.InsertPlan(fullPlan("p", engine.PlanOpen))
		must(t, err)
		for _, c := range []struct {
			d     engine.Decision
			given []byte
		}{{decision("full", day0), []byte{0, 255, '\'', 0}}, {bare, nil}} {
			got, err := tx.InsertDecision("p", c.d, c.given)
			must(t, err)
			same(t, "inserted", got, store.Decision{Decision: c.d, Recorded: got.Recorded, Given: c.given})
			wantStamp(t, "recorded", got.Recorded)
			want = append(want, got)
		}
	})
	view(t, s, ada, func(v store.View) {
		got, err := v.Decisions("p", "", 10)
		must(t, err)
		same(t, "decisions", got, want)
		if got[1].Given != nil {
			t.Error("a decision that answers nothing was given something")
		}
	})
}

// "ErrExists when the id is taken": within the plan.
func insertOfATakenDecisionID(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill)) // has "first" in both plans
	before := stateOf(t, s, ada)
	err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		_, err := tx.InsertDecision("plan-a", decision("first", day0+9), nil)
		return err
	})
	wantErr(t, "insert", err, store.ErrExists)
	same(t, "state", stateOf(t, s, ada), before)
}

func insertIntoNoPlan(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	must(t, tryUpdate(t.Context(), s, bo, fill))
	before := stateOf(t, s, ada)
	err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		_, err := tx.InsertDecision("plan-a", decision("d", day0), nil)
		return err
	})
	wantErr(t, "insert", err, store.ErrNotFound)
	same(t, "state", stateOf(t, s, ada), before)
}

// record stores decisions in a plan "p" whose order of recording, of days and of
// ids all differ, over two writes.
func record(t *testing.T, s store.Store) []engine.Decision {
	create(t, s, ada)
	list := []engine.Decision{
		decision("m", day0+5), decision("z", day0+9), decision("a", day0+5), decision("k", day0), decision("b", day0+5),
	}
	update(t, s, ada, func(tx store.Tx) {
		_, err := tx.InsertPlan(fullPlan("p", engine.PlanOpen))
		must(t, err)
		for _, d := range list[:2] {
			_, err := tx.InsertDecision("p", d, nil)
			must(t, err)
		}
	})
	update(t, s, ada, func(tx store.Tx) {
		_, err := tx.InsertPlan(fullPlan("q", engine.PlanClosed))
		must(t, err)
		_, err = tx.InsertDecision("q", decision("other", day0), nil)
		must(t, err)
		for _, d := range list[2:] {
			_, err := tx.InsertDecision("p", d, nil)
			must(t, err)
		}
	})
	return list
}

func listDecisions(t *testing.T, s store.Store, after string, limit int) (got []engine.Decision) {
	t.Helper()
	view(t, s, ada, func(v store.View) {
		list, err := v.Decisions("p", after, limit)
		must(t, err)
		for _, d := range list {
			got = append(got, d.Decision)
		}
	})
	return got
}

// "in order of recording".
func decisionsInOrderOfRecording(t *testing.T, s store.Store) {
	list := record(t, s)
	same(t, "decisions", listDecisions(t, s, "", 100), list)
}

// "Decisions: ascending by From, then in order of recording" (package engine).
func decisionsOfAPlanInItsOrder(t *testing.T, s store.Store) {
	list := record(t, s)
	want := []engine.Decision{list[3], list[0], list[2], list[4], list[1]}
	same(t, "snapshot", snapshot(t, s, ada, day0).Plan.Decisions, want)
	view(t, s, ada, func(v store.View) {
		p, err := v.Plan("p")
		must(t, err)
		same(t, "plan", p.Decisions, want)
		all, err := v.Plans("", 1)
		must(t, err)
		same(t, "plans", all[0].Decisions, want)
	})
}

// "up to limit decisions of a plan ... after the given id".
func decisionsAfterAnID(t *testing.T, s store.Store) {
	list := record(t, s)
	same(t, "limit", listDecisions(t, s, "", 2), list[:2])
	for i, d := range list {
		same(t, "after "+d.ID, listDecisions(t, s, d.ID, 100), list[i+1:])
	}
	same(t, "after and limit", listDecisions(t, s, "z", 2), list[2:4])
}

// "ErrNotFound when there is no such plan, or no such decision to start after."
func noSuchPlanOrDecision(t *testing.T, s store.Store) {
	record(t, s)
	view(t, s, ada, func(v store.View) {
		_, err := v.Decisions("nowhere", "", 10)
		wantErr(t, "no plan", err, store.ErrNotFound)
		_, err = v.Decisions("p", "nobody", 10)
		wantErr(t, "no decision", err, store.ErrNotFound)
		_, err = v.Decisions("p", "other", 10)
		wantErr(t, "another plan's decision", err, store.ErrNotFound)
	})
}
