package phase

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// wildCase is randomCase with every action, pictures, check-ins and no order of
// days that a caller could rely on.
func wildCase(r *rand.Rand) (engine.Window, engine.Profile, engine.Plan, engine.Day) {
	w, p, plan, asOf := randomCase(r)
	plan.Start += engine.Day(r.IntN(60) - 30)
	plan.AllowRefeeds = r.IntN(3) > 0
	if r.IntN(3) > 0 {
		p.Conditions = 0
	}
	for i := range plan.Decisions {
		d := &plan.Decisions[i]
		if r.IntN(2) == 0 {
			d.Action = engine.Action(r.IntN(16))
		}
		switch r.IntN(12) {
		case 0:
			d.Target.Refeed = engine.Refeed{EveryDays: r.IntN(20) - 2, IntakeKcal: 2500}
		case 1:
			d.Target.ActivityKcal = math.NaN()
		case 2:
			d.By = "someone"
		case 3:
			if i > 0 {
				d.From = plan.Decisions[i-1].From
			}
		}
	}
	for i := range w.Days {
		w.Days[i].HasPhotos = r.IntN(25) == 0
		if r.IntN(20) == 0 {
			w.Days[i].CheckIn = engine.CheckIn{HungerEase: r.IntN(9) - 2, WasSlog: engine.Answer(r.IntN(3))}
		}
	}
	switch r.IntN(12) {
	case 0:
		w.Days = nil
	case 1:
		w = engine.Window{}
	case 2:
		asOf += engine.Day(r.IntN(400))
	case 3:
		asOf -= engine.Day(r.IntN(400))
	case 4:
		w = w.Between(w.First+engine.Day(r.IntN(60)), w.End())
	}
	return w, p, plan, asOf
}

func TestTimelineOfAnything(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 15))
	var summaries, referred, finished, due int
	kinds := map[EventKind]int{}
	for n := range 2000 {
		w, p, plan, asOf := wildCase(r)
		s := Timeline(w, p, plan, asOf)
		again := Timeline(w, p, plan, asOf)
		text, err := json.Marshal(s)
		text2, _ := json.Marshal(again)
		if err != nil || string(text) != string(text2) {
			t.Fatalf("case %d: %v\n%s\n%s", n, err, text, text2)
		}
		if s.AsOf != asOf || s.Stage != StageOf(w, p, plan, asOf) || len(s.Cautions) == 0 {
			t.Fatalf("case %d: stage %d, want %d", n, s.Stage, StageOf(w, p, plan, asOf))
		}
		var decisions, inForce []engine.Action // in order of recording
		for i, e := range s.Events {
			kinds[e.Kind]++
			if i > 0 && (e.Day < s.Events[i-1].Day || e.Day == s.Events[i-1].Day && e.Kind < s.Events[i-1].Kind) {
				t.Fatalf("case %d: %q before %q", n, told(s.Events[i-1]), told(e))
			}
			if e.Day > asOf && !e.IsDue {
				t.Fatalf("case %d, day %d: %q lies ahead", n, asOf-start, told(e))
			}
			if e.Kind == EventDecision {
				decisions = append(decisions, e.Action)
			}
			if !strings.HasSuffix(e.Sentence, ".") || strings.Contains(e.Sentence, "NaN") || strings.Contains(e.Sentence, "Inf") || strings.Contains(e.Sentence, "%!") {
				t.Fatalf("case %d: %q", n, e.Sentence)
			}
		}
		for _, d := range plan.Decisions {
			if d.From <= asOf {
				inForce = append(inForce, d.Action)
			}
		}
		if !slices.Equal(decisions, inForce) {
			t.Fatalf("case %d: decisions %v of %v", n, decisions, inForce)
		}
		due += len(dueKinds(s))
		switch s.Stage {
		case Referred:
			referred++
		case Finished:
			finished++
		}
		if s.Stage == Referred || s.Stage == Closed || s.Stage == Finished {
			if len(dueKinds(s)) > 0 {
				t.Fatalf("case %d: due in stage %d: %+v", n, s.Stage, s.Events)
			}
		}
		if mustRefer(w, p, plan, asOf) && s.Stage != Referred && s.Stage != Closed {
			t.Fatalf("case %d: not referred", n)
		}
		if s.Summary != nil {
			summaries++
			checkSummary(t, n, s.Summary, plan, asOf)
		}
	}
	t.Logf("%d summaries, %d referred, %d finished, %d due; events by kind %v", summaries, referred, finished, due, kinds)
	for kind := EventPlanStart; kind <= EventCheckIn; kind++ {
		if kinds[kind] == 0 {
			t.Errorf("no event of kind %d was ever seen", kind)
		}
	}
	if summaries < 500 || referred < 200 || finished < 50 {
		t.Error("the cases miss what they are for")
	}
}

func checkSummary(t *testing.T, n int, s *Summary, plan engine.Plan, asOf engine.Day) {
	t.Helper()
	if s.Days < 1 || s.Days > int(asOf-plan.Start)+1 || s.BreakDays < 0 || s.BreakDays > s.Days || s.Refeeds < 0 || s.Refeeds > s.Days {
		t.Fatalf("case %d: %+v", n, s)
	}
	if s.StartWeightKg < 25 || s.StartWeightKg > 210 || s.EndWeightKg < 25 || s.EndWeightKg > 210 {
		t.Fatalf("case %d: %+v", n, s)
	}
	end := engine.Day(math.MinInt32)
	for _, p := range s.Periods {
		if p.Start <= end || p.End < p.Start || p.End > asOf || p.Start < plan.Start || math.IsNaN(p.LostKg.V) {
			t.Fatalf("case %d: period %+v of %+v", n, p, s)
		}
		if p.RatePctPerWeek.OK && p.End-p.Start < 6 {
			t.Fatalf("case %d: a rate over too few days: %+v", n, p)
		}
		end = p.End
	}
}
