package storetest

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store"
)

var windows = []testCase{
	{"OfAnEmptyLog", windowOfAnEmptyLog},
	{"HasEveryDayFromFirstToLast", windowHasEveryDay},
	{"StartsWhereAsked", windowStartsWhereAsked},
	{"EndsAtTheLastDayWithAnEntry", windowEndsAtTheLastDay},
	{"ShowsEveryFact", windowShowsEveryFact},
	{"FollowsReplacementAndDeletion", windowFollowsChanges},
	{"SnapshotHasTraineeAndOpenPlan", snapshotHasTraineeAndOpenPlan},
	{"EqualsOneRebuiltFromEntries", windowEqualsRebuilt},
	{"EqualsOneRebuiltAfterLongBatches", windowAfterLongBatches},
}

// "The window has First == first even when nothing is logged."
func windowOfAnEmptyLog(t *testing.T, s store.Store) {
	create(t, s, ada)
	for _, first := range []engine.Day{day0, 0, -5} {
		snap := snapshot(t, s, ada, first)
		same(t, "window", snap.Window, engine.Window{First: first})
		if snap.Plan != nil {
			t.Errorf("plan %+v", snap.Plan)
		}
	}
}

// "every day from the asked first day to the last day with an entry": gaps are kept.
func windowHasEveryDay(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, weighIn(day0, 70), intake(day0, 1900), weighIn(day0+4, 69))
	same(t, "window", snapshot(t, s, ada, day0).Window, engine.Window{First: day0, Days: []engine.WindowDay{
		{WeightKg: engine.Some(70), Readings: 1, IntakeKcal: engine.Some(1900)}, {}, {}, {},
		{WeightKg: engine.Some(69), Readings: 1},
	}})
}

func windowStartsWhereAsked(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, append(everyFact(), weighIn(day0+2, 69))...)
	last := engine.WindowDay{WeightKg: engine.Some(69), Readings: 1}
	same(t, "within", snapshot(t, s, ada, day0+1).Window, engine.Window{First: day0 + 1, Days: []engine.WindowDay{{}, last}})
	same(t, "last day", snapshot(t, s, ada, day0+2).Window, engine.Window{First: day0 + 2, Days: []engine.WindowDay{last}})
	same(t, "after", snapshot(t, s, ada, day0+3).Window, engine.Window{First: day0 + 3})
	if w := snapshot(t, s, ada, day0-3).Window; w.First != day0-3 || len(w.Days) != 6 || !w.Days[2].IsEmpty() || w.Days[3].IsEmpty() {
		t.Errorf("before: first %v, %d days", w.First, len(w.Days))
	}
}

// An entry that the day's row shows nothing of still ends the window.
func windowEndsAtTheLastDay(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, weighIn(day0, 70), engine.Entry{Day: day0 + 2, Key: "1", Fact: engine.Activity{}})
	if w := snapshot(t, s, ada, day0).Window; len(w.Days) != 3 {
		t.Errorf("%d days, want 3", len(w.Days))
	}
	update(t, s, ada, func(tx store.Tx) {
		must(t, tx.DeleteEntry(engine.ID{Day: day0 + 2, Kind: engine.KindActivity, Key: "1"}))
	})
	if w := snapshot(t, s, ada, day0).Window; len(w.Days) != 1 {
		t.Errorf("%d days, want 1", len(w.Days))
	}
}

func windowShowsEveryFact(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, append(everyFact(),
		engine.Entry{Day: day0 + 1, Key: "1", Fact: engine.BodyFat{Pct: 24.5, Method: engine.BodyFatDXA}},
		engine.Entry{Day: day0 + 1, Key: "1", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 5}},
		engine.Entry{Day: day0 + 1, Key: "1", Fact: engine.Tape{WaistCm: engine.Some(80)}},
		engine.Entry{Day: day0 + 1, Key: "1", Fact: engine.CheckIn{Sleep: 4, WasSlog: engine.Yes}},
	)...)
	w := snapshot(t, s, ada, day0).Window
	same(t, "window", w, rebuilt(day0, logOf(t, s, ada)))
	// Not only equal: each of them is there.
	d := w.Days[0]
	if !d.WeightKg.OK || d.Readings != 3 || !d.Steps.OK || !d.ActivityKcal.OK || d.Marks == 0 || !d.RefeedKcal.OK || d.CheckIn.Sleep != 3 || !d.HasPhotos {
		t.Errorf("first day %+v", d)
	}
	if len(w.Lifts) != 3 || len(w.BodyFat) != 3 || len(w.Tapes) != 3 || w.Days[1].CheckIn.WasSlog != engine.Yes {
		t.Errorf("%d lifts, %d body-fat readings, %d tapes, check-in %+v", len(w.Lifts), len(w.BodyFat), len(w.Tapes), w.Days[1].CheckIn)
	}
}

// "rolls up the touched days"; "removes one entry and rolls its day up".
func windowFollowsChanges(t *testing.T, s store.Store) {
	create(t, s, ada)
	second := engine.Entry{Day: day0, Key: "2", Fact: engine.Intake{Energy: engine.Kcal(400)}}
	steps := []struct {
		run  func(tx store.Tx) error
		want engine.WindowDay
	}{
		{func(tx store.Tx) error { return tx.PutEntries([]engine.Entry{intake(day0, 1500)}) },
			engine.WindowDay{IntakeKcal: engine.Some(1500)}},
		{func(tx store.Tx) error { return tx.PutEntries([]engine.Entry{second}) },
			engine.WindowDay{IntakeKcal: engine.Some(1900)}},
		{func(tx store.Tx) error { return tx.PutEntries([]engine.Entry{intake(day0, 1600), weighIn(day0, 70)}) },
			engine.WindowDay{IntakeKcal: engine.Some(2000), WeightKg: engine.Some(70), Readings: 1}},
		{func(tx store.Tx) error { return tx.DeleteEntry(second.ID()) },
			engine.WindowDay{IntakeKcal: engine.Some(1600), WeightKg: engine.Some(70), Readings: 1}},
		{func(tx store.Tx) error { return tx.DeleteEntry(intake(day0, 0).ID()) },
			engine.WindowDay{WeightKg: engine.Some(70), Readings: 1}},
	}
	for _, step := range steps {
		must(t, tryUpdate(t.Context(), s, ada, step.run))
		same(t, "days", snapshot(t, s, ada, day0).Window.Days, []engine.WindowDay{step.want})
	}
	update(t, s, ada, func(tx store.Tx) { must(t, tx.DeleteEntry(weighIn(day0, 0).ID())) })
	same(t, "window", snapshot(t, s, ada, day0).Window, engine.Window{First: day0})
}

// "the open plan with its decisions; nil when none is open".
func snapshotHasTraineeAndOpenPlan(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	snap := snapshot(t, s, ada, day0)
	view(t, s, ada, func(v store.View) {
		want, err := v.Plan("plan-b")
		must(t, err)
		same(t, "plan", snap.Plan, &want)
		same(t, "trainee", snap.Trainee, traineeOf(t, v))
	})
	if len(snap.Plan.Decisions) != 1 {
		t.Errorf("%d decisions, want 1", len(snap.Plan.Decisions))
	}
	update(t, s, ada, func(tx store.Tx) {
		_, err := tx.PutPlan(fullPlan("plan-b", engine.PlanClosed))
		must(t, err)
	})
	if p := snapshot(t, s, ada, day0).Plan; p != nil {
		t.Errorf("plan %q is not open", p.ID)
	}
}

// rebuilt makes a window from entries alone, in the order of the log.
func rebuilt(first engine.Day, log []engine.Entry) engine.Window {
	w := engine.Window{First: first}
	for len(log) > 0 {
		day, n := log[0].Day, 0
		for n < len(log) && log[n].Day == day {
			n++
		}
		if day >= first {
			r := rollup.Day(day, log[:n])
			w.Days = append(w.Days, make([]engine.WindowDay, day-w.End())...)
			w.Days = append(w.Days, r.Row)
			w.Lifts = append(w.Lifts, r.Lifts...)
			w.BodyFat = append(w.BodyFat, r.BodyFat...)
			w.Tapes = append(w.Tapes, r.Tapes...)
		}
		log = log[n:]
	}
	return w
}

// After any sequence of upserts and deletions a snapshot shows what the entries
// that are left come to, and the entries are those of a plain map.
func windowEqualsRebuilt(t *testing.T, s store.Store) {
	fixSeed(t)
	trial := 0
	rapid.Check(t, func(rt *rapid.T) {
		trial++
		sc := store.Scope{Tenant: "north-gym", Trainee: fmt.Sprintf("trial-%d", trial)}
		create(rt, s, sc)
		model := map[engine.ID]engine.Entry{}
		for range rapid.IntRange(1, 8).Draw(rt, "writes") {
			batch := map[engine.ID]engine.Entry{}
			for _, e := range rapid.SliceOfN(entryGen, 0, 12).Draw(rt, "entries") {
				batch[e.ID()] = e
			}
			doomed := rapid.SliceOfN(idGen, 0, 4).Draw(rt, "doomed")
			update(rt, s, sc, func(tx store.Tx) {
				var list []engine.Entry
				for id, e := range batch {
					list = append(list, e)
					model[id] = e
				}
				must(rt, tx.PutEntries(list))
				for _, id := range doomed {
					if _, there := model[id]; there {
						must(rt, tx.DeleteEntry(id))
						delete(model, id)
					}
				}
			})
		}
		got := logOf(rt, s, sc)
		left := map[engine.ID]engine.Entry{}
		for _, e := range got {
			left[e.ID()] = e
		}
		same(rt, "entries", left, model)
		for _, first := range []engine.Day{day0, day0 + 3} {
			same(rt, "window", snapshot(rt, s, sc, first).Window, rebuilt(first, got))
		}
	})
}

// Batches of many days, with and without gaps, partly over what is there, roll up as
// the entries that are left do.
func windowAfterLongBatches(t *testing.T, s store.Store) {
	create(t, s, ada)
	batch := func(first engine.Day, days, step int, kg float64) []engine.Entry {
		var out []engine.Entry
		for i := range days {
			d := first + engine.Day(i*step)
			out = append(out, weighIn(d, kg+float64(i)/10), intake(d, 1900+float64(i)),
				engine.Entry{Day: d, Key: "1", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 1 + i%8}})
		}
		return out
	}
	for i, entries := range [][]engine.Entry{
		batch(day0, 150, 1, 80),
		batch(day0+400, 70, 7, 70),                             // of a week each
		batch(day0+100, 60, 7, 75),                             // over both, and between
		append(batch(day0+2000, 3, 1, 60), weighIn(day0+1, 1)), // far apart
		{{Day: day0 + 50, Key: "2", Fact: engine.Intake{Energy: engine.Kcal(300)}}, {Day: day0 + 60, Key: "2", Fact: engine.LiftSet{Lift: "row", Reps: 9}}},
	} {
		put(t, s, ada, entries...)
		same(t, fmt.Sprintf("window after batch %d", i+1), snapshot(t, s, ada, day0-10).Window, rebuilt(day0-10, logOf(t, s, ada)))
	}
	if w := snapshot(t, s, ada, day0).Window; w.End() != day0+2003 || len(w.Lifts) < 250 {
		t.Errorf("the window ends before %v with %d lifts: this test tests less than it should", w.End(), len(w.Lifts))
	}
}
