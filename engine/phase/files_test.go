package phase

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	files "example.com/steelyard/testdata/scenarios"
)

// -update makes the generated part of every scenario anew whose file says how.
var update = flag.Bool("update", false, "make the generated parts of testdata/scenarios anew")

var loadOnce = sync.OnceValues(files.Load)

func loadFiles(t *testing.T) []files.Scenario {
	t.Helper()
	all, err := loadOnce()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 15 {
		t.Fatalf("found only %d scenarios", len(all))
	}
	return all
}

// TestFiles runs every scenario's checks on the engine.
func TestFiles(t *testing.T) {
	if *update {
		remakeFiles(t)
		t.Skip("the files were made anew; run the test again without -update")
	}
	for _, s := range loadFiles(t) {
		for _, c := range s.Checks {
			st, err := s.At(c)
			if err != nil {
				t.Fatal(err)
			}
			r := Recommend(windowOf(st.Entries), st.Profile, st.Plan, c.Day)
			for _, wrong := range c.Compare(answerOf(r)) {
				t.Errorf("%s, %s after %d edits: %s", s.File, c.Day, c.AfterEdits, wrong)
			}
		}
	}
}

// windowOf rolls entries up as the service does.
func windowOf(entries []engine.Entry) engine.Window {
	if len(entries) == 0 {
		return engine.Window{}
	}
	w := engine.Window{First: entries[0].Day}
	for from := 0; from < len(entries); {
		day := entries[from].Day
		to := from
		for to < len(entries) && entries[to].Day == day {
			to++
		}
		got := rollup.Day(day, entries[from:to])
		for w.End() < day {
			w.Days = append(w.Days, engine.WindowDay{})
		}
		w.Days = append(w.Days, got.Row)
		w.Lifts = append(w.Lifts, got.Lifts...)
		w.BodyFat = append(w.BodyFat, got.BodyFat...)
		w.Tapes = append(w.Tapes, got.Tapes...)
		from = to
	}
	return w
}

var stageWords = map[Stage]string{
	NotStarted: "not-started", MaintenanceTest: "maintenance-test", OpeningDeficit: "opening-deficit", BaseActivity: "base-activity",
	WeeklyReviews: "weekly-reviews", DietBreak: "diet-break", Returning: "return-to-maintenance", Finished: "finished",
	Paused: "paused", Referred: "referred", Closed: "closed",
}

// answerOf tells a recommendation in the words of a check. A number that is not
// known is left out.
func answerOf(r Recommendation) files.Answer {
	a := files.Answer{Stage: stageWords[r.Stage], Action: files.Actions[r.Action], Headline: r.Headline, Cautions: len(r.Cautions), Numbers: map[string]float64{}}
	know := func(name string, v engine.Opt) {
		if v.OK {
			a.Numbers[name] = v.V
		}
	}
	if r.Estimate != nil {
		a.Numbers["rate_pct_per_week"] = r.Estimate.RatePctPerWeek
		a.Numbers["trend_weight_kg"] = r.Estimate.TrendWeightKg
		a.Numbers["maintenance_kcal"] = r.Estimate.MaintenanceKcal
	}
	if r.Proposed != nil {
		a.Numbers["proposed_intake_kcal"] = r.Proposed.IntakeKcal
		a.Numbers["proposed_activity_kcal"] = r.Proposed.ActivityKcal
	}
	if r.Adherence != nil {
		a.Numbers["over_target_pct"] = r.Adherence.OverPct
	}
	if r.Practice != nil {
		know("practice_change_kcal", r.Practice.ChangeKcal)
	}
	know("mean_strain", r.Strain.Mean)
	if r.Strain.LiftsWithTrend > 0 {
		a.Numbers["falling_lifts"] = float64(r.Strain.FallingLifts)
	}
	if r.Refeeds != nil {
		a.Numbers["refeed_every_days"] = float64(r.Refeeds.Target.Refeed.EveryDays)
		a.Numbers["refeed_intake_kcal"] = r.Refeeds.Target.Refeed.IntakeKcal
	}
	if r.Return != nil {
		a.Numbers["return_kcal"] = r.Return.MaintenanceKcal
		a.Numbers["return_steps"] = float64(len(r.Return.Steps))
	}
	for _, f := range r.Findings {
		a.Codes = append(a.Codes, string(f.Code))
		for _, n := range f.Numbers {
			a.Numbers[string(f.Code)+"."+n.Name] = n.Value
		}
	}
	for _, c := range r.Cautions {
		a.Codes = append(a.Codes, string(c.Code))
	}
	return a
}

// TestGeneratedFiles holds every generated log against the simulated trainee
// that its file names, living by the file's own decisions. Rounding may differ
// by a grain from one processor to another.
func TestGeneratedFiles(t *testing.T) {
	n := 0
	for _, s := range loadFiles(t) {
		if s.Made == nil {
			continue
		}
		n++
		log, _ := s.Made.Live(s.Plan, func(today engine.Day, _ engine.Plan, _ []engine.Entry) []engine.Decision {
			return decidedOn(s.Plan.Decisions, today)
		})
		for _, e := range log {
			i := slices.IndexFunc(s.Entries, func(x engine.Entry) bool { return x.ID() == e.ID() })
			if i < 0 || !alike(s.Entries[i].Fact, e.Fact) {
				t.Errorf("%s: %+v is not in the file; run this package's tests with -update", s.File, e)
				break
			}
		}
	}
	if n < 5 {
		t.Errorf("only %d files were generated", n)
	}
}

func decidedOn(decisions []engine.Decision, day engine.Day) []engine.Decision {
	var out []engine.Decision
	for _, d := range decisions {
		if d.From == day {
			out = append(out, d)
		}
	}
	return out
}

func alike(a, b engine.Fact) bool {
	switch a := a.(type) {
	case engine.WeighIn:
		return math.Abs(a.Weight.Value-b.(engine.WeighIn).Weight.Value) < 0.11
	case engine.Intake:
		return math.Abs(a.Energy.Value-b.(engine.Intake).Energy.Value) < 1.1
	case engine.LiftSet:
		return math.Abs(a.Load.Value-b.(engine.LiftSet).Load.Value) < 0.51 && a.Reps == b.(engine.LiftSet).Reps
	}
	return a == b
}

// remakeFiles writes the generated part of each file whose head says how it is
// made. A trainee who follows decides each morning what is recommended.
func remakeFiles(t *testing.T) {
	const folder = "../../testdata/scenarios"
	names, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		old, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		head := files.Head(string(old))
		s, err := files.Parse(strings.TrimSuffix(filepath.Base(name), ".yaml"), head)
		if err != nil {
			t.Fatal(err)
		}
		if s.Made == nil {
			continue
		}
		var followed []engine.Decision
		log, _ := s.Made.Live(s.Plan, func(today engine.Day, plan engine.Plan, log []engine.Entry) []engine.Decision {
			own := decidedOn(s.Plan.Decisions, today)
			if s.Made.Follow && len(own) == 0 {
				own = follow(s, plan, log, today)
				followed = append(followed, own...)
			}
			return own
		})
		if err := os.WriteFile(name, []byte(files.Rewrite(head, log, followed)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// follow is the decision that follows this morning's recommendation, if it
// asks for one.
func follow(s files.Scenario, plan engine.Plan, log []engine.Entry, today engine.Day) []engine.Decision {
	st := s.Onto(log)
	r := Recommend(windowOf(st), s.Profile, plan, today)
	isWaiting := r.Stage == Paused || r.Action == engine.KeepLogging && r.Current != nil
	if r.Action == engine.Refer || isWaiting || !r.ReviewDue && r.Proposed == nil {
		return nil
	}
	d := engine.Decision{From: today, Action: r.Action, By: "coach"}
	switch {
	case r.Proposed != nil:
		d.Target = *r.Proposed
	case r.Current != nil:
		d.Target = *r.Current
	}
	return []engine.Decision{d}
}
