package phase

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

// A refeed two days before a review puts water on the scale. The tendency
// hardly moves, and the answer is the same.
func TestRefeedBumpChangesNothing(t *testing.T) {
	changed, worst := 0, 0.0
	const n = 200
	for seed := range uint64(n) {
		plain, refed := cutting(seed, 22), cutting(seed, 22)
		refed.r.NormFloat64() // the draw that the other one's day takes
		refed.eat(refed.maintenance + 500)
		row := refed.back(1)
		row.Marks = row.Marks.With(engine.MarkRefeed)
		plain.live(2, 0)
		refed.live(1, 0)
		if bump := refed.scale().V - plain.scale().V; bump < 0.2 {
			t.Fatalf("seed %d: the refeed shows only as %.2f kg", seed, bump)
		}
		a, b := plain.morning(), refed.morning()
		worst = max(worst, math.Abs(a.Estimate.RatePctPerWeek-b.Estimate.RatePctPerWeek))
		if a.Action != b.Action {
			changed++
		}
	}
	t.Logf("the rate moved by %.3f %%/week at most; the action changed in %d of %d", worst, changed, n)
	if worst > 0.15 || changed > n/10 {
		t.Errorf("a refeed moved the rate by up to %.3f %%/week and changed the action in %d of %d", worst, changed, n)
	}
}

// A typing error just before a review is refused, is asked about, and hardly
// moves anything.
func TestTypingErrorBeforeReview(t *testing.T) {
	const n = 200
	changed := 0
	for seed := range uint64(n) {
		p := cutting(seed, 24)
		a := p.morning()
		p.back(2).WeightKg.V *= 10
		if seed%2 == 0 {
			p.back(2).WeightKg.V = p.back(2).WeightKg.V/10 + 10
		}
		b := p.morning()
		i := slices.IndexFunc(b.Findings, func(f Finding) bool { return f.Code == CodeReadingRefused })
		if i < 0 || b.Findings[i].Day != engine.SomeDay(p.today()-2) || b.Findings[i].Numbers[0].Value != p.back(2).WeightKg.V {
			t.Fatalf("seed %d: not asked about: %+v", seed, b.Findings)
		}
		if b.RestsOn.ReadingsRefused != a.RestsOn.ReadingsRefused+1 || b.RestsOn.ReadingsUsed != a.RestsOn.ReadingsUsed-1 {
			t.Errorf("seed %d: rests on %+v, before %+v", seed, b.RestsOn, a.RestsOn)
		}
		if a.Action != b.Action {
			changed++
		}
	}
	if changed > n/20 {
		t.Errorf("one typing error changed the action in %d of %d", changed, n)
	}
}

// From the first morning after the cut's start to the first review the scale
// falls with water. At the first review nobody at the table's edge is told that
// the cut is too fast because of it.
func TestWaterOfTheFirstDaysIsNoTissue(t *testing.T) {
	const n = 200
	given := 0
	for seed := range uint64(n) {
		p := cutting(seed, 0)
		for range 10 {
			if r := p.morning(); r.Action != engine.Hold {
				t.Fatalf("seed %d, day %d: action %d before the first review", seed, r.PlanDay, r.Action)
			}
			p.live(1, 0)
		}
		if r := p.morning(); r.Action == engine.RaiseBalance { // the true rate is about 0.75
			given++
		}
	}
	if given > n/50 {
		t.Errorf("food given back at the first review in %d of %d", given, n)
	}
}

// A referral for unexplained loss in a maintenance test must be rare among
// people who are only misjudged, or ate more before the test.
func TestUnexplainedLossIsRarelySeen(t *testing.T) {
	const n = 500
	referred := 0
	for seed := range uint64(n) {
		p := newTrainee(seed)
		r := rand.New(rand.NewPCG(seed, 6))
		p.maintenance = 2700 * (1 + 0.12*r.NormFloat64())
		p.noiseKg = 0.3 + 0.4*r.Float64()
		p.swing = 0.5 * r.Float64() // up to 500 kcal/d more before
		for range 14 {
			p.live(1, 2700)
			if p.morning().Action == engine.Refer {
				referred++
				break
			}
		}
	}
	t.Logf("%d of %d referred", referred, n)
	if referred > n/50 {
		t.Errorf("%d of %d ordinary trainees referred in their test", referred, n)
	}
}

// Nothing after the morning of asOf is read: not the day's intake, not later
// days, not later decisions.
func TestTheFutureIsNotRead(t *testing.T) {
	for seed := range uint64(50) {
		p := cutting(seed, 30)
		asOf := start + 27
		then := p.window
		then.Days = slices.Clone(then.Days[:28])
		then.Days[27].IntakeKcal = engine.Opt{}
		plan := p.plan
		plan.Decisions = slices.Clone(plan.Decisions)
		a := Recommend(then, p.profile, plan, asOf)
		plan.Decisions = append(plan.Decisions, engine.Decision{From: asOf + 1, Action: engine.LowerBalance, Target: engine.Target{IntakeKcal: 1900}})
		b := Recommend(p.window, p.profile, plan, asOf)
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("seed %d:\n%+v\n%+v", seed, a, b)
		}
	}
}

// The calendar date does not matter, and neither do empty days in front.
func TestShiftAndEmptyDays(t *testing.T) {
	for seed := range uint64(50) {
		p := cutting(seed, 24)
		a := p.morning()
		w := p.window
		w.Days = append(slices.Clone(w.Days), engine.WindowDay{WeightKg: p.scale(), Readings: 1})

		front := w
		front.First -= 40
		front.Days = append(make([]engine.WindowDay, 40), w.Days...)
		b := Recommend(front, p.profile, p.plan, p.today())
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("seed %d: empty days in front:\n%+v\n%+v", seed, a, b)
		}

		const shift = 700
		plan, profile := p.plan, p.profile
		plan.Start += shift
		profile.BirthDate.Day += shift
		plan.Decisions = slices.Clone(plan.Decisions)
		for i := range plan.Decisions {
			plan.Decisions[i].From += shift
		}
		w.First += shift
		c := Recommend(w, profile, plan, p.today()+shift)
		if c.Action != a.Action || c.PlanDay != a.PlanDay || c.Headline != a.Headline || c.NextReview.Day != a.NextReview.Day+shift || !reflect.DeepEqual(c.Options, a.Options) {
			t.Fatalf("seed %d: two years on:\n%+v\n%+v", seed, a, c)
		}
	}
}
