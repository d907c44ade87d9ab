package cohort

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"runtime"
	"strings"
	"testing"
)

func study(t *testing.T, people int, seed uint64, kinds ...Kind) Report {
	t.Helper()
	last := 0
	r, err := Study(t.Context(), Options{People: people, Seed: seed, Kinds: kinds}, func(done int) {
		if done != last+1 {
			t.Errorf("told %d after %d", done, last)
		}
		last = done
	})
	if err != nil {
		t.Fatal(err)
	}
	if last != people*len(kinds) {
		t.Errorf("told of %d people", last)
	}
	return r
}

func text(t *testing.T, r Report) string {
	t.Helper()
	j, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var table bytes.Buffer
	if err := r.WriteText(&table); err != nil {
		t.Fatal(err)
	}
	return string(j) + "\n" + table.String()
}

func TestStudyDependsOnItsOptionsAlone(t *testing.T) {
	one := text(t, study(t, 12, 5, Kinds()...))
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	if other := text(t, study(t, 12, 5, Kinds()...)); other != one {
		t.Errorf("on one processor:\n%s\notherwise:\n%s", other, one)
	}
	runtime.GOMAXPROCS(7)
	if other := text(t, study(t, 12, 5, Kinds()...)); other != one {
		t.Errorf("on seven processors:\n%s\notherwise:\n%s", other, one)
	}
	if other := text(t, study(t, 12, 6, Kinds()...)); strings.ReplaceAll(other, "6", "5") == strings.ReplaceAll(one, "6", "5") {
		t.Error("another seed gives the same people")
	}
	// A cohort is the same alone.
	if alone := study(t, 12, 5, Hard); text(t, Report{Cohorts: alone.Cohorts}) != text(t, Report{Cohorts: study(t, 12, 5, Kinds()...).Cohorts[4:]}) {
		t.Error("a cohort alone differs")
	}
}

// The engine beats the hand method on the same people, and never prescribes
// under the floor.
func TestEngineBeatsTheHandMethod(t *testing.T) {
	for _, f := range study(t, 60, 21, Kinds()...).Cohorts {
		e, h := f.Posterior, f.Hand
		t.Logf("%s, %s: in band %.1f and %.1f %%, false changes %.2f and %.2f", f.Cohort, f.World, e.InBandPct, h.InBandPct, e.FalseChanges, h.FalseChanges)
		if e.InBandPct < h.InBandPct+5 {
			t.Errorf("%s, %s: %.1f %% of days in the band, by hand %.1f", f.Cohort, f.World, e.InBandPct, h.InBandPct)
		}
		if e.FalseChanges > h.FalseChanges-0.5 {
			t.Errorf("%s, %s: %.2f false changes, by hand %.2f", f.Cohort, f.World, e.FalseChanges, h.FalseChanges)
		}
		if e.UnderFloorPct != 0 || h.UnderFloorPct != 0 {
			t.Errorf("%s, %s: %v and %v %% of days under the floor", f.Cohort, f.World, e.UnderFloorPct, h.UnderFloorPct)
		}
		if e.Changes == 0 || h.Changes == 0 || e.LostDay == nil {
			t.Errorf("%s, %s: nothing happened: %+v", f.Cohort, f.World, f)
		}
	}
}

// Both coaches meet the same luck: the days before they differ are the same.
func TestCoachesMeetTheSameLuck(t *testing.T) {
	p, fate := anyPerson(t, General, 3)
	a, b := newLife(p, fate), newLife(p, fate)
	for range 10 {
		for l, c := range map[*life]coach{a: posterior{}, b: hand{}} {
			l.wake()
			if len(l.plan.Decisions) == 0 {
				l.answer(c.decide(l))
			}
			if err := l.live(l.refeedKcal()); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i := range a.window.Days {
		if a.window.Days[i] != b.window.Days[i] {
			t.Errorf("day %d: %+v and %+v", i, a.window.Days[i], b.window.Days[i])
		}
	}
}

func TestStudyEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	_, err := Study(ctx, Options{People: 5000, Seed: 1, Kinds: Kinds()}, func(done int) {
		if done == 10 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	for _, people := range []int{0, -1, MaxPeople + 1} {
		if _, err := Study(t.Context(), Options{People: people, Kinds: Kinds()}, nil); err == nil {
			t.Errorf("%d people were studied", people)
		}
	}
}

// What is not known is a dash, and absent from the JSON.
func TestReportOfUnknowns(t *testing.T) {
	people := []outcome{{lives: [2]lived{
		{open: make([]guessed, 4), posterior: course{daysJudged: 84, days: 100, changes: 3, daysUnder: 5}, hand: course{daysJudged: 84, days: 100, lostDay: 50}},
		{open: make([]guessed, 4), posterior: course{daysJudged: 84, days: 100}, hand: course{daysJudged: 84, days: 100}},
	}}}
	f := summarise(Hard, Steady, people)
	out := text(t, Report{People: 1, Cohorts: []Figures{f, summarise(Hard, Wandering, people)}})
	if f.Posterior.Changes != 3 || f.Posterior.UnderFloorPct != 5 || f.Posterior.LostDay != nil || *f.Hand.LostDay != 50 {
		t.Errorf("%+v", f)
	}
	for _, absent := range []string{"rmse", "covered", "NaN", "Inf"} {
		if strings.Contains(out, absent) {
			t.Errorf("%s in %s", absent, out)
		}
	}
	if !strings.Contains(out, ">=71") || !strings.Contains(out, " - ") {
		t.Errorf("no aim or dash in\n%s", out)
	}
}

func TestParseKinds(t *testing.T) {
	for name, want := range map[string]int{"all": 3, "general": 1, "easy": 1, "hard": 1} {
		if got, err := ParseKinds(name); err != nil || len(got) != want {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	if _, err := ParseKinds("Hard"); err == nil || !strings.Contains(err.Error(), "general, easy, hard or all") {
		t.Errorf("error %v", err)
	}
}
