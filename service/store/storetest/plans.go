package storetest

import (
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var plans = []testCase{
	{"InsertKeepsEveryField", insertPlanKeepsEveryField},
	{"InsertTakesNoDecisions", insertPlanTakesNoDecisions},
	{"InsertOfATakenID", insertOfATakenPlanID},
	{"AtMostOneIsOpen", atMostOnePlanIsOpen},
	{"PutReplacesItsOwnFields", putPlanReplaces},
	{"PutOfNoPlan", putOfNoPlan},
	{"NoSuchPlan", noSuchPlan},
	{"ListedByIDAfterAnIDUpToALimit", plansAreListed},
}

// wantPlan is an engine plan as the store returns it, with got's times.
func wantPlan(p engine.Plan, got store.Plan) store.Plan {
	return store.Plan{Plan: p, Created: got.Created, Updated: got.Updated}
}

func insertPlanKeepsEveryField(t *testing.T, s store.Store) {
	create(t, s, ada)
	var full, bare store.Plan
	update(t, s, ada, func(tx store.Tx) {
		var err error
		full, err = tx.InsertPlan(fullPlan("full", engine.PlanOpen))
		must(t, err)
		bare, err = tx.InsertPlan(engine.Plan{ID: "bare", State: engine.PlanClosed})
		must(t, err)
	})
	same(t, "inserted", full, wantPlan(fullPlan("full", engine.PlanOpen), full))
	same(t, "inserted", bare, wantPlan(engine.Plan{ID: "bare", State: engine.PlanClosed}, bare))
	wantStamp(t, "created", full.Created)
	same(t, "updated", full.Updated, full.Created)
	view(t, s, ada, func(v store.View) {
		for _, want := range []store.Plan{full, bare} {
			got, err := v.Plan(want.ID)
			must(t, err)
			same(t, "plan", got, want)
		}
	})
}

// Decisions come one by one, with what only the record needs.
func insertPlanTakesNoDecisions(t *testing.T, s store.Store) {
	create(t, s, ada)
	p := fullPlan("plan", engine.PlanOpen)
	p.Decisions = []engine.Decision{decision("d", day0)}
	update(t, s, ada, func(tx store.Tx) {
		got, err := tx.InsertPlan(p)
		must(t, err)
		same(t, "decisions", got.Decisions, []engine.Decision{})
	})
	same(t, "decisions", snapshot(t, s, ada, day0).Plan.Decisions, []engine.Decision{})
}

// "ErrExists when the id is taken."
func insertOfATakenPlanID(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	for _, id := range []string{"plan-a", "plan-b"} { // closed, open
		err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
			_, err := tx.InsertPlan(engine.Plan{ID: id, State: engine.PlanClosed})
			return err
		})
		wantErr(t, "insert", err, store.ErrExists)
	}
	same(t, "state", stateOf(t, s, ada), before)

	create(t, s, bo) // ids are those of one trainee
	must(t, tryUpdate(t.Context(), s, bo, fill))
}

// "A trainee has at most one open plan" (package engine): a second one is
// refused when it is inserted and when it is reopened.
func atMostOnePlanIsOpen(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		_, err := tx.InsertPlan(fullPlan("plan-c", engine.PlanOpen))
		return err
	})
	wantErr(t, "insert", err, store.ErrExists)
	err = tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		_, err := tx.PutPlan(fullPlan("plan-a", engine.PlanOpen))
		return err
	})
	wantErr(t, "put", err, store.ErrExists)
	same(t, "state", stateOf(t, s, ada), before)

	must(t, tryUpdate(t.Context(), s, ada, func(tx store.Tx) error { // closed first, it makes room
		if _, err := tx.PutPlan(fullPlan("plan-b", engine.PlanClosed)); err != nil {
			return err
		}
		_, err := tx.InsertPlan(fullPlan("plan-c", engine.PlanOpen))
		return err
	}))
	same(t, "open plan", snapshot(t, s, ada, day0).Plan.ID, "plan-c")
}

// "PutPlan replaces a plan's own fields; its decisions stay as they are."
func putPlanReplaces(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	next := engine.Plan{ID: "plan-b", State: engine.PlanClosed, Start: day0 + 9, PacePctPerWeek: 0.3, FoodLever: true}
	given := next
	given.Decisions = []engine.Decision{decision("never stored", day0)}
	var put store.Plan
	h := update(t, s, ada, func(tx store.Tx) {
		var err error
		put, err = tx.PutPlan(given)
		must(t, err)
	})
	wantStamp(t, "updated", put.Updated)
	want := before
	want.Head = h
	next.Decisions = before.Plans[1].Decisions
	want.Plans = []store.Plan{before.Plans[0], {Plan: next, Created: before.Plans[1].Created, Updated: put.Updated}}
	same(t, "put", put, want.Plans[1])
	same(t, "state", stateOf(t, s, ada), want)
	if put.Updated.Before(put.Created) || put.Created.Equal(time.Time{}) {
		t.Errorf("created %v, updated %v", put.Created, put.Updated)
	}
}

func putOfNoPlan(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	must(t, tryUpdate(t.Context(), s, bo, fill))
	before := stateOf(t, s, ada)
	err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		_, err := tx.PutPlan(fullPlan("plan-a", engine.PlanClosed))
		return err
	})
	wantErr(t, "put", err, store.ErrNotFound)
	same(t, "state", stateOf(t, s, ada), before)
}

// "ErrNotFound when there is none of that id."
func noSuchPlan(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	must(t, tryUpdate(t.Context(), s, bo, fill))
	view(t, s, ada, func(v store.View) {
		_, err := v.Plan("plan-a")
		wantErr(t, "plan", err, store.ErrNotFound)
	})
}

// "up to limit plans with their decisions, by id, after the given id": by its
// bytes, and the id need not be there.
func plansAreListed(t *testing.T, s store.Store) {
	create(t, s, ada)
	ids := []string{"10", "2", "B", "a", "b"}
	update(t, s, ada, func(tx store.Tx) {
		for _, i := range []int{3, 0, 4, 2, 1} {
			_, err := tx.InsertPlan(fullPlan(ids[i], engine.PlanClosed))
			must(t, err)
			_, err = tx.InsertDecision(ids[i], decision("d-"+ids[i], day0), nil)
			must(t, err)
		}
	})
	view(t, s, ada, func(v store.View) {
		for _, c := range []struct {
			after string
			limit int
			want  []string
		}{
			{"", 10, ids}, {"", 5, ids}, {"", 2, ids[:2]}, {"2", 2, ids[2:4]}, {"A", 10, ids[2:]}, {"b", 1, nil}, {"zz", 3, nil},
		} {
			got, err := v.Plans(c.after, c.limit)
			must(t, err)
			var found []string
			for _, p := range got {
				found = append(found, p.ID)
				want := fullPlan(p.ID, engine.PlanClosed)
				want.Decisions = []engine.Decision{decision("d-"+p.ID, day0)}
				same(t, "plan", p, wantPlan(want, p))
			}
			same(t, "ids after "+c.after, found, c.want)
		}
	})
}
