package phase

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"sort"
	"testing"

	"example.com/steelyard/engine"
)

// randomCase is a log, a profile and a plan that nobody would make, most of it
// within what a caller may send.
func randomCase(r *rand.Rand) (engine.Window, engine.Profile, engine.Plan, engine.Day) {
	some := func(p, low, high float64) engine.Opt {
		if r.Float64() >= p {
			return engine.Opt{}
		}
		return engine.Some(low + (high-low)*r.Float64())
	}
	p := engine.Profile{
		Sex: engine.Sex(r.IntN(12)), HeightCm: some(0.95, 140, 205),
		Activity: engine.ActivityLevel(r.IntN(5)), MaintenanceGuessKcal: some(0.3, 1200, 4500),
	}
	if p.Sex > engine.Male {
		p.Sex = engine.Sex(1 + r.IntN(2))
	}
	if r.IntN(20) > 0 {
		p.BirthDate = engine.SomeDay(start - engine.Day(16*365+r.IntN(60*365)))
	}
	if r.IntN(10) == 0 {
		p.Conditions = engine.Condition(1 << r.IntN(7))
	}
	plan := engine.DefaultPlan(start + engine.Day(r.IntN(20)))
	plan.GoalWeightKg = some(0.3, 50, 110)
	plan.IntakeFloorKcal = some(0.1, 800, 2600)
	plan.SkipMaintenanceTest = r.IntN(3) == 0
	plan.FoodLever, plan.ActivityLever = r.IntN(5) > 0, r.IntN(4) > 0
	plan.ActivityCapKcal = float64(125 + r.IntN(500))
	plan.Method = engine.Method(r.IntN(2))
	plan.PacePctPerWeek = 0.5 + 0.5*r.Float64()
	plan.AllowRefeeds = r.IntN(4) > 0
	if r.IntN(5) == 0 {
		plan.WeekendExtraKcal = float64(r.IntN(600))
	}
	if r.IntN(30) == 0 {
		plan.PacePctPerWeek = math.NaN()
	}
	if r.IntN(30) == 0 {
		plan.State = engine.PlanClosed
	}

	kg := 50 + 90*r.Float64()
	maintenance := kg * (25 + 15*r.Float64())
	days := r.IntN(170)
	from := plan.Start
	target := maintenance
	for r.IntN(5) > 0 {
		d := engine.Decision{From: from, Action: engine.Hold, Target: engine.Target{IntakeKcal: math.Round(target), ActivityKcal: float64(r.IntN(5) * 150)}}
		if len(plan.Decisions) == 1 {
			d.Action = engine.StartDeficit
		}
		switch r.IntN(60) {
		case 0:
			d.Action = engine.Refer
		case 1, 2, 3:
			d.Action, d.Target.IntakeKcal = engine.TakeBreak, math.Round(maintenance)
		case 4, 5, 6:
			d.Action, d.Target.IntakeKcal = engine.ReturnToMaintenance, math.Round(maintenance*(0.85+0.3*r.Float64()))
		case 7:
			d.Action = engine.Finish
		case 8, 9, 10:
			d.Action = engine.Ease
		case 11, 12:
			d.Action = engine.AddBaseActivity
		case 13, 14, 15, 16:
			d.Target.Refeed = engine.Refeed{EveryDays: r.IntN(20) - 1, IntakeKcal: math.Round(maintenance)}
		}
		if r.IntN(60) == 0 {
			d.Target.IntakeKcal = math.Inf(1)
		}
		plan.Decisions = append(plan.Decisions, d)
		from += engine.Day(r.IntN(20))
		target *= 0.75 + 0.3*r.Float64()
	}

	w := engine.Window{First: start - 10}
	missing, unlogged, over := 0.6*r.Float64(), 0.5*r.Float64(), 0.85+0.3*r.Float64()
	for i := range days {
		eaten := maintenance
		if t, ok := plan.TargetOn(w.First + engine.Day(i)); ok && t.IntakeKcal < 1e5 {
			eaten = t.IntakeKcal
		}
		eaten *= over * (0.9 + 0.2*r.Float64())
		kg += (eaten - maintenance) / 7600
		row := engine.WindowDay{WeightKg: some(1-missing, kg-1, kg+1), IntakeKcal: some(1-unlogged, eaten, eaten+1)}
		switch r.IntN(80) {
		case 0:
			row.WeightKg = engine.Some(kg * 10)
		case 1:
			row.WeightKg = engine.Some(kg - 10)
		case 2:
			row.WeightKg = engine.Some(math.NaN())
		}
		if r.IntN(12) == 0 {
			row.Marks = row.Marks.With(engine.MarkKind(1 + r.IntN(5)))
			row.RefeedKcal = some(0.5, 1500, 4000)
		}
		if r.IntN(8) == 0 {
			row.CheckIn = engine.CheckIn{HungerEase: r.IntN(6), Energy: r.IntN(6), Sleep: r.IntN(4), TrainingDrive: r.IntN(4), WasSlog: engine.Answer(r.IntN(3))}
		}
		if r.IntN(3000) == 0 {
			row.Marks = row.Marks.With(engine.MarkKind(6 + r.IntN(3)))
		}
		w.Days = append(w.Days, row)
	}
	return w, p, plan, w.End() - 1 + engine.Day(r.IntN(4)-2)
}

// mustRefer says, by itself, whether a trainee may get no deficit.
func mustRefer(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) bool {
	if p.Conditions != 0 {
		return true
	}
	y, m, d := asOf.Date()
	if p.BirthDate.OK {
		by, bm, bd := p.BirthDate.Day.Date()
		if y-by < 18 || y-by == 18 && (m < bm || m == bm && d < bd) {
			return true
		}
	}
	metres := p.HeightCm.V / 100
	if p.HeightCm.OK && plan.GoalWeightKg.OK && plan.GoalWeightKg.V < 18.5*metres*metres {
		return true
	}
	if kg := lastWeights(w, asOf); p.HeightCm.OK && len(kg) > 0 && middle(kg) < 18.5*metres*metres-1e-9 {
		return true
	}
	for back := range engine.Day(28) {
		for _, sign := range []engine.MarkKind{engine.MarkFainting, engine.MarkPalpitations, engine.MarkMissedPeriod} {
			if w.At(asOf - back).Marks.Has(sign) {
				return true
			}
		}
	}
	last := engine.Decision{}
	for _, d := range plan.Decisions {
		if d.From <= asOf {
			last = d
		}
	}
	return last.Action == engine.Refer
}

func lastWeights(w engine.Window, asOf engine.Day) []float64 {
	var kg []float64
	for d := asOf; d >= w.First && len(kg) < 3; d-- {
		if y := w.At(d).WeightKg; y.OK && y.V >= 30 && y.V <= 200 {
			kg = append(kg, y.V)
		}
	}
	return kg
}

func middle(kg []float64) float64 {
	sort.Float64s(kg)
	return (kg[(len(kg)-1)/2] + kg[len(kg)/2]) / 2
}

// leastKcal is the floor worked out once more: Mifflin in full, from its paper.
func leastKcal(r Recommendation, w engine.Window, p engine.Profile, plan engine.Plan) float64 {
	kcal, sexTerm := 1200.0, -161.0
	if p.Sex == engine.Male {
		kcal, sexTerm = 1500, 5
	}
	if kg := lastWeights(w, r.AsOf); len(kg) > 0 {
		y, m, d := r.AsOf.Date()
		by, bm, bd := p.BirthDate.Day.Date()
		age := y - by
		if m < bm || m == bm && d < bd {
			age--
		}
		kcal = max(kcal, 0.95*(10*middle(kg)+6.25*p.HeightCm.V-5*float64(age)+sexTerm))
	}
	if r.Estimate != nil {
		kcal = min(kcal, 0.9*r.Estimate.MaintenanceKcal)
	}
	kcal = max(kcal, 800)
	if plan.IntakeFloorKcal.OK {
		kcal = max(kcal, plan.IntakeFloorKcal.V)
	}
	return kcal
}

func TestRandomPlansAndLogs(t *testing.T) {
	actions := map[engine.Action]int{}
	proposed, atFloor, excluded := 0, 0, 0
	for seed := range uint64(10_000) {
		w, p, plan, asOf := randomCase(rand.New(rand.NewPCG(seed, 4)))
		r := Recommend(w, p, plan, asOf)
		actions[r.Action]++
		checkFinite(t, seed, "r", reflect.ValueOf(r))
		if r.Headline == "" || len(r.Cautions) < 2 || r.Cautions[0].Code != CodeNotMedicalAdvice || len(r.Findings) == 0 {
			t.Fatalf("seed %d: headline %q, cautions %v, findings %v", seed, r.Headline, r.Cautions, r.Findings)
		}
		switch r.Action {
		case engine.KeepLogging, engine.StartDeficit, engine.Hold, engine.LowerBalance, engine.RaiseBalance, engine.MeetTarget, engine.Refer,
			engine.AddBaseActivity, engine.ChangeRefeeds, engine.Ease, engine.TakeBreak, engine.ReturnToMaintenance, engine.Finish:
		default:
			t.Fatalf("seed %d: action %d", seed, r.Action)
		}
		if plan.State == engine.PlanOpen && mustRefer(w, p, plan, asOf) {
			excluded++
			if r.Action != engine.Refer {
				t.Fatalf("seed %d: action %d for a trainee to be referred", seed, r.Action)
			}
		}
		if r.Action == engine.Refer && (r.Proposed != nil || r.Options != nil || r.Estimate != nil) {
			t.Fatalf("seed %d: a referral with targets: %+v", seed, r)
		}
		checkTargets(t, seed, r, w, p, plan, &proposed, &atFloor)
		again := Recommend(w, p, plan, asOf)
		a, errA := json.Marshal(r)
		b, errB := json.Marshal(again)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Fatalf("seed %d: not the same twice (%v %v)", seed, errA, errB)
		}
	}
	t.Logf("actions %v; %d excluded; %d targets proposed, %d of them at the floor", actions, excluded, proposed, atFloor)
	for _, a := range []engine.Action{engine.KeepLogging, engine.StartDeficit, engine.Hold, engine.LowerBalance, engine.RaiseBalance, engine.MeetTarget, engine.Refer,
		engine.AddBaseActivity, engine.ChangeRefeeds, engine.Ease, engine.TakeBreak, engine.ReturnToMaintenance, engine.Finish} {
		least := 50
		if a == engine.AddBaseActivity || a == engine.ChangeRefeeds { // need a loss that is on track, which random lives rarely have
			least = 5
		}
		if actions[a] < least {
			t.Errorf("action %d came up only %d times: the cases are too tame", a, actions[a])
		}
	}
	if excluded < 500 || proposed < 500 || atFloor < 20 {
		t.Error("the cases are too tame")
	}
}

// checkTargets holds every target that is proposed, or could be chosen, against
// the floor and the cap.
func checkTargets(t *testing.T, seed uint64, r Recommendation, w engine.Window, p engine.Profile, plan engine.Plan, proposed, atFloor *int) {
	t.Helper()
	check := func(what string, target engine.Target) {
		least := leastKcal(r, w, p, plan)
		for d := range engine.Day(7) {
			if kcal := plan.OrdinaryIntakeKcal(target, r.AsOf+d); kcal < least-1e-6 {
				t.Fatalf("seed %d: %s intake of %v under the floor of %v", seed, what, kcal, least)
			} else if kcal < least+5 {
				*atFloor++
			}
		}
		if target.Refeed.EveryDays > 0 && target.Refeed.IntakeKcal < target.IntakeKcal {
			t.Fatalf("seed %d: %s refeed of %+v", seed, what, target)
		}
		if target.ActivityKcal < 0 || target.ActivityKcal > plan.ActivityCapKcal {
			t.Fatalf("seed %d: %s activity of %v, cap %v", seed, what, target.ActivityKcal, plan.ActivityCapKcal)
		}
	}
	if r.Proposed != nil {
		*proposed++
		check("proposed", *r.Proposed)
	}
	recommended := 0
	for _, o := range r.Options {
		if o.Possible != (o.Change != nil) || o.Possible == (o.WhyNot != "") {
			t.Fatalf("seed %d: option %+v", seed, o)
		}
		if o.Change != nil {
			check("optional", o.Change.Target)
		}
		if o.Recommended {
			recommended++
			if r.Proposed == nil || *r.Proposed != o.Change.Target {
				t.Fatalf("seed %d: recommended %+v but proposed %+v", seed, o.Change.Target, r.Proposed)
			}
		}
	}
	if changes := r.Action == engine.LowerBalance || r.Action == engine.RaiseBalance && len(r.Options) > 0; changes && recommended != 1 || recommended > 1 {
		t.Fatalf("seed %d: %d options recommended for action %d", seed, recommended, r.Action)
	}
	if r.Action == engine.LowerBalance && (len(r.Options) != 3 || r.Proposed.IntakeKcal < 0.9*r.Current.IntakeKcal-5) {
		t.Fatalf("seed %d: lowered from %+v to %+v", seed, r.Current, r.Proposed)
	}
}

func checkFinite(t *testing.T, seed uint64, path string, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			t.Fatalf("seed %d: %s is %v", seed, path, v.Float())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			checkFinite(t, seed, path, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			checkFinite(t, seed, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			checkFinite(t, seed, path, v.Index(i))
		}
	}
}
