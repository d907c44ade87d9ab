package storetest

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
)

var roster = []testCase{
	{"OfNobody", rosterOfNobody},
	{"KeepsEveryField", rosterKeepsEveryField},
	{"OnlyWithAnOpenPlan", rosterOnlyWithAnOpenPlan},
	{"DueFromADayUntilADay", rosterFromUntil},
	{"RestsOnAllItsDays", rosterRestsOnAllItsDays},
	{"OfSomeReasons", rosterOfReasons},
	{"InOrderByPages", rosterByPages},
	{"OfOneTenant", rosterOfOneTenant},
	{"GoesWithTheTrainee", rosterGoesWithTheTrainee},
	{"RollsBackWithItsWrite", rosterRollsBack},
	{"InTheCreatingWrite", rosterInTheCreatingWrite},
	{"EqualsOneDerivedFromEntries", rosterEqualsDerived},
}

// talks lists all that a tenant has due on a day.
func talks(t tb, s store.Store, tenant string, asOf engine.Day) []store.DueTalk {
	t.Helper()
	got, err := s.DueTalks(t.Context(), tenant, store.DueQuery{AsOf: asOf, Limit: 1 << 20})
	must(t, err)
	return got
}

// beginPlan makes a trainee of whom nothing is known, with an open plan.
func beginPlan(t tb, s store.Store, sc store.Scope, start engine.Day) {
	t.Helper()
	_, err := s.Create(t.Context(), sc, store.Once{}, store.Trainee{TimeZone: "UTC"}, func(tx store.Tx) (store.Answer, error) {
		_, err := tx.InsertPlan(planFrom(start))
		return say(""), err
	})
	must(t, err)
}

func planFrom(start engine.Day) engine.Plan {
	p := engine.DefaultPlan(start)
	p.ID = "cut"
	return p
}

func rosterOfNobody(t *testing.T, s store.Store) {
	same(t, "talks of no tenant", talks(t, s, "nowhere", day0), []store.DueTalk{})
	create(t, s, ada)
	put(t, s, ada, weighIn(day0, 70))
	same(t, "talks without a plan", talks(t, s, ada.Tenant, day0+900), []store.DueTalk{})
}

// Everything that the engine says of a talk is there, the day until when it is
// due known or not.
func rosterKeepsEveryField(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	put(t, s, ada, engine.Entry{Day: day0 + 1, Key: "1", Fact: engine.Mark{Of: engine.MarkFainting}})
	w := engine.Window{First: day0 + 1, Days: []engine.WindowDay{{Marks: engine.MarkSet(0).With(engine.MarkFainting)}}}
	want := phase.DueTalks(w, nil, engine.Profile{}, planFrom(day0))
	if len(want) != 3 || !want[0].Until.OK || want[1].Until.OK {
		t.Fatalf("this test tests nothing: %+v", want)
	}
	for i, got := range talks(t, s, ada.Tenant, day0+12) {
		same(t, "talk", got, store.DueTalk{
			Place: store.DuePlace{From: want[i].From, Trainee: ada.Trainee, Seq: i + 1}, Plan: "cut", Due: want[i],
		})
	}
}

// "Of each trainee with an open plan": each write replaces them.
func rosterOnlyWithAnOpenPlan(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	reasons := func() (out []phase.DueReason) {
		for _, d := range talks(t, s, ada.Tenant, day0+20) {
			out = append(out, d.Reason)
		}
		return out
	}
	same(t, "at first", reasons(), []phase.DueReason{phase.DueStoppedLogging, phase.DueReview})
	put(t, s, ada, weighIn(day0+19, 70))
	same(t, "logging again", reasons(), []phase.DueReason{phase.DueReview})
	decide := func(id string, a engine.Action) {
		update(t, s, ada, func(tx store.Tx) {
			_, err := tx.InsertDecision("cut", engine.Decision{ID: id, From: day0 + 18, Action: a}, nil)
			must(t, err)
		})
	}
	decide("d1", engine.StartDeficit)
	same(t, "decided", reasons(), []phase.DueReason{})
	update(t, s, ada, func(tx store.Tx) {
		must(t, tx.PutTrainee(store.Trainee{Profile: engine.Profile{Conditions: engine.HeartDisease}}))
	})
	same(t, "another profile", reasons(), []phase.DueReason{phase.DueCaution})
	closed := planFrom(day0)
	closed.State = engine.PlanClosed
	update(t, s, ada, func(tx store.Tx) {
		_, err := tx.PutPlan(closed)
		must(t, err)
	})
	same(t, "closed", reasons(), []phase.DueReason{})
	update(t, s, ada, func(tx store.Tx) {
		p := planFrom(day0 + 1)
		p.ID = "another"
		_, err := tx.InsertPlan(p)
		must(t, err)
	})
	got := talks(t, s, ada.Tenant, day0+20)
	if len(got) != 2 || got[0].Reason != phase.DueCaution || got[0].Plan != "another" || got[1].Reason != phase.DueReview {
		t.Errorf("another plan: %+v", got)
	}
}

// "due from this day or before, and until this day or after".
func rosterFromUntil(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	put(t, s, ada, engine.Entry{Day: day0 + 2, Key: "1", Fact: engine.Mark{Of: engine.MarkPalpitations}})
	all := phase.DueTalks(engine.Window{First: day0 + 2, Days: []engine.WindowDay{{Marks: engine.MarkSet(0).With(engine.MarkPalpitations)}}},
		nil, engine.Profile{}, planFrom(day0))
	changes := 0
	before := 0
	for asOf := day0; asOf < day0+40; asOf++ {
		var want, got []phase.Due
		for _, d := range all {
			if d.From <= asOf && (!d.Until.OK || asOf <= d.Until.Day) {
				want = append(want, d)
			}
		}
		for _, d := range talks(t, s, ada.Tenant, asOf) {
			got = append(got, d.Due)
		}
		same(t, "talks on "+asOf.String(), got, want)
		if len(got) != before {
			changes, before = changes+1, len(got)
		}
	}
	if changes != 4 { // the caution comes, the silence, the review; the caution goes
		t.Errorf("%d changes", changes)
	}
}

// A mark counts while it is one of the engine's days, however many were logged
// since.
func rosterRestsOnAllItsDays(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	put(t, s, ada, engine.Entry{Day: day0, Key: "1", Fact: engine.Mark{Of: engine.MarkFainting}})
	for d := day0 + 1; d <= day0+phase.DueDays; d++ {
		put(t, s, ada, weighIn(d, 70))
		got := talks(t, s, ada.Tenant, d)
		hasCaution := slices.ContainsFunc(got, func(d store.DueTalk) bool { return d.Reason == phase.DueCaution })
		if want := d < day0+phase.DueDays; hasCaution != want {
			t.Errorf("day %d: a caution %v, want %v", d-day0, hasCaution, want)
		}
	}
}

func rosterOfReasons(t *testing.T, s store.Store) {
	for i, sc := range []store.Scope{ada, bo} {
		beginPlan(t, s, sc, day0+engine.Day(i))
	}
	update(t, s, bo, func(tx store.Tx) {
		must(t, tx.PutTrainee(store.Trainee{Profile: engine.Profile{Conditions: engine.Pregnant}}))
	})
	for _, c := range []struct {
		reasons []phase.DueReason
		want    string
	}{
		{nil, "bo/3 ada/2 bo/2 ada/1 bo/1 "},
		{[]phase.DueReason{phase.DueReview}, "ada/1 bo/1 "},
		{[]phase.DueReason{phase.DueCaution, phase.DueStoppedLogging}, "bo/3 ada/2 bo/2 "},
		{[]phase.DueReason{phase.DueMilestone}, ""},
	} {
		got, err := s.DueTalks(t.Context(), ada.Tenant, store.DueQuery{AsOf: day0 + 30, Reasons: c.reasons, Limit: 10})
		must(t, err)
		list := ""
		for _, d := range got {
			list += fmt.Sprintf("%s/%d ", d.Place.Trainee, d.Reason)
		}
		same(t, fmt.Sprint(c.reasons), list, c.want)
	}
}

// "in order of first day, trainee, and place in the trainee's own list", "up to
// q.Limit", after a place that need not be there any more.
func rosterByPages(t *testing.T, s store.Store) {
	for i, id := range []string{"b", "a", "10", "2", "c"} {
		beginPlan(t, s, store.Scope{Tenant: "north-gym", Trainee: id}, day0+engine.Day(i%2))
	}
	all := talks(t, s, "north-gym", day0+60)
	if len(all) != 10 {
		t.Fatalf("%d talks", len(all))
	}
	list := ""
	for i, d := range all {
		list += fmt.Sprintf("%d:%s ", d.From-day0, d.Place.Trainee)
		same(t, "place", d.Place, store.DuePlace{From: d.From, Trainee: d.Place.Trainee, Seq: d.Place.Seq})
		if i > 0 && !isBefore(all[i-1].Place, d.Place) {
			t.Errorf("%+v before %+v", all[i-1].Place, d.Place)
		}
	}
	same(t, "order", list, "4:10 4:b 4:c 5:2 5:a 10:10 10:b 10:c 11:2 11:a ")
	for limit := 1; limit <= len(all)+1; limit++ {
		var got []store.DueTalk
		q := store.DueQuery{AsOf: day0 + 60, Limit: limit}
		for len(got) <= len(all) { // no longer, should a page give the same again
			page, err := s.DueTalks(t.Context(), "north-gym", q)
			must(t, err)
			if len(page) > limit {
				t.Fatalf("%d talks, limit %d", len(page), limit)
			}
			if len(page) == 0 {
				break
			}
			got = append(got, page...)
			q.After = &page[len(page)-1].Place
		}
		same(t, fmt.Sprintf("pages of %d", limit), got, all)
	}
	gone := all[3].Place // of "2"
	_, err := s.Erase(t.Context(), store.Scope{Tenant: "north-gym", Trainee: gone.Trainee}, act())
	must(t, err)
	rest, err := s.DueTalks(t.Context(), "north-gym", store.DueQuery{AsOf: day0 + 60, Limit: 2, After: &gone})
	must(t, err)
	same(t, "after one that is gone", rest, all[4:6])
}

func isBefore(a, b store.DuePlace) bool {
	if a.From != b.From {
		return a.From < b.From
	}
	if a.Trainee != b.Trainee {
		return a.Trainee < b.Trainee
	}
	return a.Seq < b.Seq
}

func rosterOfOneTenant(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	want := talks(t, s, ada.Tenant, day0+30)
	beginPlan(t, s, adaToo, day0+3)
	same(t, "north", talks(t, s, ada.Tenant, day0+30), want)
	got := talks(t, s, adaToo.Tenant, day0+30)
	if len(got) != 2 || got[0].From != day0+7 {
		t.Errorf("south: %+v", got)
	}
	same(t, "of no name", talks(t, s, "", day0+30), []store.DueTalk{})
}

func rosterGoesWithTheTrainee(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	beginPlan(t, s, bo, day0)
	_, err := s.Erase(t.Context(), ada, act())
	must(t, err)
	left := talks(t, s, ada.Tenant, day0+30)
	if len(left) != 2 || left[0].Place.Trainee != bo.Trainee || left[1].Place.Trainee != bo.Trainee {
		t.Errorf("left: %+v", left)
	}
	create(t, s, ada)
	same(t, "created again", talks(t, s, ada.Tenant, day0+30), left)
}

// Any error rolls the talks back too, and a replayed write leaves them alone.
func rosterRollsBack(t *testing.T, s store.Store) {
	beginPlan(t, s, ada, day0)
	before := talks(t, s, ada.Tenant, day0+30)
	wantErr(t, "write", tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		must(t, tx.PutEntries([]engine.Entry{weighIn(day0+9, 70)}))
		return errStop
	}), errStop)
	same(t, "after an error", talks(t, s, ada.Tenant, day0+30), before)
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		must(t, tx.PutEntries([]engine.Entry{weighIn(day0+9, 70)}))
		return func(store.Head) ([]byte, error) { return nil, errStop }, nil
	})
	wantErr(t, "answer", err, errStop)
	same(t, "after an answer's error", talks(t, s, ada.Tenant, day0+30), before)
	put(t, s, ada, weighIn(day0+9, 70))
	if after := talks(t, s, ada.Tenant, day0+30); slices.Equal(after, before) {
		t.Error("a write that succeeds changes nothing: this test tests nothing")
	}
}

func rosterInTheCreatingWrite(t *testing.T, s store.Store) {
	_, err := s.Create(t.Context(), ada, once("r", "h"), store.Trainee{TimeZone: "UTC"}, func(tx store.Tx) (store.Answer, error) {
		_, err := tx.InsertPlan(planFrom(day0))
		must(t, err)
		return say(""), tx.PutEntries([]engine.Entry{weighIn(day0+6, 70)})
	})
	must(t, err)
	got := talks(t, s, ada.Tenant, day0+30)
	if len(got) != 2 || got[0].From != day0+10 || got[1].From != day0+10 {
		t.Errorf("talks %+v", got)
	}
}

// After any sequence of writes the talks are those that the engine makes of the
// entries, the profile and the open plan that are left.
func rosterEqualsDerived(t *testing.T, s store.Store) {
	fixSeed(t)
	trial := 0
	seen := map[phase.DueReason]int{}
	rapid.Check(t, func(rt *rapid.T) {
		trial++
		sc := store.Scope{Tenant: fmt.Sprintf("gym-%d", trial), Trainee: "ada"}
		beginPlan(rt, s, sc, day0+engine.Day(rapid.IntRange(0, 30).Draw(rt, "start")))
		for i := range rapid.IntRange(1, 8).Draw(rt, "writes") {
			must(rt, tryUpdate(rt.Context(), s, sc, func(tx store.Tx) error { return someWrite(rt, tx, i) }))
			var want []phase.Due
			if snap := snapshot(rt, s, sc, 0); snap.Plan != nil {
				log := logOf(rt, s, sc)
				want = phase.DueTalks(rebuilt(day0, log), firstReadings(log, snap.Plan.Start), snap.Trainee.Profile, snap.Plan.Plan)
			}
			for _, asOf := range []engine.Day{day0 + 5, day0 + 20, day0 + 50, day0 + 75, day0 + 200} {
				var due, got []phase.Due
				for _, d := range want {
					if d.From <= asOf && (!d.Until.OK || asOf <= d.Until.Day) {
						due = append(due, d)
					}
				}
				for _, d := range talks(rt, s, sc.Tenant, asOf) {
					got = append(got, d.Due)
					seen[d.Reason]++
				}
				same(rt, "talks on "+asOf.String(), got, due)
			}
		}
	})
	for _, r := range []phase.DueReason{phase.DueReview, phase.DueStoppedLogging, phase.DueCaution, phase.DueMilestone} {
		if seen[r] == 0 {
			t.Errorf("reason %d never occurs: this test tests nothing of it", r)
		}
	}
}

// someWrite logs a stretch of days on the way down, deletes some, or changes plan
// or profile.
func someWrite(t *rapid.T, tx store.Tx, i int) error {
	switch rapid.IntRange(0, 6).Draw(t, "what") {
	case 0:
		p := engine.Profile{Sex: engine.Female, HeightCm: engine.Some(170)}
		if rapid.IntRange(0, 4).Draw(t, "ill") == 0 {
			p.Conditions = engine.KidneyDisease
		}
		return tx.PutTrainee(store.Trainee{TimeZone: "UTC", Profile: p})
	case 1:
		plan, err := tx.Plan("cut")
		must(t, err)
		plan.State = engine.PlanState(rapid.IntRange(0, 3).Draw(t, "state") / 3)
		plan.GoalWeightKg = engine.Some(float64(rapid.IntRange(70, 84).Draw(t, "goal")))
		plan.GoalBodyFatPct = engine.Some(float64(rapid.IntRange(11, 20).Draw(t, "fat")))
		_, err = tx.PutPlan(plan.Plan)
		return err
	case 2:
		_, err := tx.InsertDecision("cut", engine.Decision{
			ID: fmt.Sprint(i), From: day0 + engine.Day(rapid.IntRange(0, 60).Draw(t, "from")), Action: engine.Action(rapid.IntRange(1, 13).Draw(t, "action")),
			Target: engine.Target{IntakeKcal: 2000, ActivityKcal: float64(100 * rapid.IntRange(0, 2).Draw(t, "activity"))},
		}, []byte("shown"))
		return err
	case 3:
		all, err := tx.Entries(everything())
		must(t, err)
		for _, e := range all[:min(len(all), rapid.IntRange(0, 20).Draw(t, "deleted"))] {
			must(t, tx.DeleteEntry(e.ID()))
		}
		if len(all) > 20 {
			return tx.DeleteEntry(all[len(all)-1].ID())
		}
		return nil
	}
	first := day0 + engine.Day(rapid.IntRange(0, 60).Draw(t, "first"))
	kcal := rapid.SampledFrom([]float64{600, 1500, 2000, 2000}).Draw(t, "kcal")
	var entries []engine.Entry
	for d := first; d < first+engine.Day(rapid.IntRange(1, 40).Draw(t, "days")); d++ {
		kg := 85 - 0.12*float64(d-day0) + float64(rapid.IntRange(-4, 4).Draw(t, "noise"))/10
		entries = append(entries, weighIn(d, kg), intake(d, kcal))
	}
	if rapid.IntRange(0, 3).Draw(t, "sign") == 0 {
		entries = append(entries, engine.Entry{Day: first, Key: "1", Fact: engine.Mark{Of: engine.MarkFainting}})
	}
	return tx.PutEntries(entries)
}

// firstReadings are the first readings of a log from a day on.
func firstReadings(log []engine.Entry, from engine.Day) []float64 {
	var out []float64
	w := rebuilt(from, log)
	for _, d := range w.Days {
		if d.WeightKg.OK && len(out) < phase.DueFirstReadings {
			out = append(out, d.WeightKg.V)
		}
	}
	return out
}
