package phase

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// toward is a man in a cut of so many days with a goal weight.
func toward(days int, goalKg float64) *trainee {
	p := cutting(1, days)
	p.plan.GoalWeightKg = engine.Some(goalKg)
	return p
}

func (p *trainee) forecast() Outlooks { return Forecast(p.window, p.profile, p.plan, p.today()) }

func mustForecaster(t testing.TB, p *trainee) *forecaster {
	t.Helper()
	f := p.facts()
	fc, ok := f.forecaster(f.goal())
	if !ok {
		t.Fatal("no forecaster")
	}
	return fc
}

func mustOutlook(t *testing.T, fc *forecaster, pct float64) Outlook {
	t.Helper()
	o, ok := fc.outlook(pct)
	if !ok {
		t.Fatal("no outlook")
	}
	return o
}

func TestForecastHermiteAgreesWithGonum(t *testing.T) {
	n := len(hermiteNodes)
	x, w := make([]float64, n), make([]float64, n)
	quad.Hermite{}.FixedLocations(x, w, math.Inf(-1), math.Inf(1))
	for i := range n {
		if math.Abs(x[i]-hermiteNodes[i]) > 1e-12 || math.Abs(w[i]-hermiteWeights[i]) > 1e-12 {
			t.Errorf("node %d: %v, %v; gonum %v, %v", i, hermiteNodes[i], hermiteWeights[i], x[i], w[i])
		}
	}
	if hermiteNodes[central] != 0 {
		t.Error("the central node is not 0")
	}
}

// straight walks down by itself: the intake is found by halving, and nothing but
// the model of the body is shared with the forecast.
func straight(t *testing.T, fc *forecaster, pct, errorKcal, goalKg float64) (days int, first float64) {
	t.Helper()
	at, activity := fc.start, fc.baseKcal
	tissue := func(s physiology.BodyState) float64 { return s.FatKg + s.LeanKg }
	for days < horizonDays {
		kg := fc.trendKg + tissue(at) - tissue(fc.start)
		if kg <= goalKg {
			return days, first
		}
		share := at.FatKg / (at.FatKg + 10.4) // of the loss is fat, by Forbes
		need := pct / 100 / 7 * kg * (share*9440.727 + (1-share)*1816.444)
		day := physiology.BodyDay{ActivityKcalPerKg: fc.ratio * 0.72 * activity / kg}
		low, high := 0.0, 8000.0
		for range 60 {
			day.IntakeKcal = (low + high) / 2
			if fc.model.ExpenditureKcal(at, day).V-day.IntakeKcal > need {
				low = day.IntakeKcal
			} else {
				high = day.IntakeKcal
			}
		}
		if days == 0 {
			first = fc.restedKcal + (day.IntakeKcal-fc.model.IntakeKcal())/fc.ratio
		}
		sum := func(n float64) float64 { return math.Min(n, math.Sqrt(28*n)) } // days' worth of error after n
		day.IntakeKcal += fc.ratio * errorKcal * (sum(float64(days+1)) - sum(float64(days)))
		var ok bool
		if at, ok = fc.model.Day(at, day); !ok {
			t.Fatal("no day")
		}
		days++
	}
	t.Fatal("not within two years")
	return 0, 0
}

func TestForecastWithoutUncertaintyIsStraight(t *testing.T) {
	fc := mustForecaster(t, toward(60, 76))
	fc.spread = spread{}
	for _, pct := range []float64{0.5, 0.8, 1} {
		o := mustOutlook(t, fc, pct)
		days, first := straight(t, fc, pct, 0, 76)
		want := engine.SomeDay(fc.from + engine.Day(days))
		if o.Earliest != want || o.Median != want || o.Latest != want {
			t.Errorf("%v %%: %v %v %v, want %v", pct, o.Earliest, o.Median, o.Latest, want)
		}
		if math.Abs(o.TargetNow.IntakeKcal-first) > 2.5+1e-6 || o.TargetNow.ActivityKcal != 125 {
			t.Errorf("%v %%: target %+v, want %.1f", pct, o.TargetNow, first)
		}
		// A steady share of the weight a week is an exponential; glycogen delays it by a day or two.
		byHand := math.Log(fc.trendKg/76) / (pct / 700)
		if d := float64(days) - byHand; d < 0 || d > 3 {
			t.Errorf("%v %%: %d days, by hand %.1f", pct, days, byHand)
		}
		if o.FloorDay.OK {
			t.Errorf("%v %%: the floor binds: %+v", pct, o)
		}
	}
}

// What the pace asks for now is what the filter would ask for: the plan's
// targets and the forecast do not disagree.
func TestForecastAgreesWithTheFilter(t *testing.T) {
	for _, days := range []int{5, 25, 60, 100} {
		p := toward(days, 70)
		f := p.facts()
		for _, o := range p.forecast().Outlooks {
			e, ok := f.track.Estimate(o.TargetNow, balance.Band{LowPctPerWeek: 0.5, HighPctPerWeek: 1})
			if !ok || math.Abs(e.RatePctPerWeek-o.PacePctPerWeek) > 0.04 {
				t.Errorf("day %d: %+v makes %.3f %% a week by the filter, not %.2f", days, o.TargetNow, e.RatePctPerWeek, o.PacePctPerWeek)
			}
		}
	}
}

func TestForecastRangeWidens(t *testing.T) {
	base := mustForecaster(t, toward(60, 76))
	for what, set := range map[string]func(*spread, float64){
		"intake": func(s *spread, x float64) { s.intakeKcal = 80 * x },
		"trend":  func(s *spread, x float64) { s.trendKg = 0.5 * x },
		"goal":   func(s *spread, x float64) { s.goalKg = 1 * x },
	} {
		var last Outlook
		for i := range 4 {
			fc := *base
			fc.spread = spread{}
			set(&fc.spread, float64(i))
			o := mustOutlook(t, &fc, 0.8)
			if i > 0 && (o.Earliest.Day >= last.Earliest.Day || o.Latest.Day <= last.Latest.Day || !o.Latest.OK) {
				t.Errorf("%s %d: %v to %v is not wider than %v to %v", what, i, o.Earliest, o.Latest, last.Earliest, last.Latest)
			}
			if d := o.Median.Day - last.Median.Day; i > 0 && (d < -2 || d > 2) {
				t.Errorf("%s %d: the median went from %v to %v", what, i, last.Median, o.Median)
			}
			last = o
		}
	}
}

// The range agrees with simply drawing errors and walking down.
func TestForecastRangeAgreesWithDraws(t *testing.T) {
	p := measured(22, engine.BodyFatDXA)
	p.plan.GoalBodyFatPct = engine.Some(18)
	low := toward(60, 76)
	low.plan.IntakeFloorKcal, low.plan.ActivityCapKcal = engine.Some(2100), 125
	for what, fc := range map[string]*forecaster{
		"weight": mustForecaster(t, toward(60, 76)), "body fat": mustForecaster(t, p), "at the floor": mustForecaster(t, low),
	} {
		o := mustOutlook(t, fc, 0.8)
		r := rand.New(rand.NewPCG(5, 6))
		var days []float64
		for range 1000 {
			c := fc.course(0.8, r.NormFloat64())
			goal := fc.goal.WeightKg.V + math.Hypot(fc.spread.goalKg, fc.spread.trendKg)*r.NormFloat64()
			for c.weightKg() > goal && c.day < horizonDays {
				if !c.live() {
					t.Fatal("no day")
				}
			}
			days = append(days, float64(c.day))
		}
		slices.Sort(days)
		for q, day := range map[float64]engine.OptDay{0.1: o.Earliest, 0.5: o.Median, 0.9: o.Latest} {
			want, got := days[int(q*1000)], float64(day.Day-fc.from)
			if math.Abs(got-want) > 2+0.06*want {
				t.Errorf("%s: %v %% within %v days, drawn %v", what, 100*q, got, want)
			}
		}
	}
}

// An error of eating is one way, whole for four weeks and then growing with the root.
func TestForecastErrorOfEating(t *testing.T) {
	fc := mustForecaster(t, toward(60, 76))
	fc.spread.intakeKcal = 100
	c := fc.course(0.8, 1)
	for c.weightKg() > 76 {
		if !c.live() {
			t.Fatal("no day")
		}
	}
	if days, _ := straight(t, fc, 0.8, 100, 76); c.day != days {
		t.Errorf("%d days, want %d", c.day, days)
	}
}

func TestForecastAdaptation(t *testing.T) {
	p := toward(60, 76)
	f := p.facts()
	maintenance := f.estimate.MaintenanceKcal
	got := f.adaptationKcal(maintenance)
	// The same by repetition: guess rested maintenance, follow the log, guess again.
	rested, at := maintenance, 0.0
	for range 50 {
		at = 0
		for d := f.window.First; d < f.asOf; d++ {
			at += (0.14*(f.window.At(d).IntakeKcal.V-rested) - at) / 14
		}
		// What the days before the log would add, at maintenance, is nothing.
		rested = maintenance - at/0.9
	}
	weight := 1 - math.Pow(13.0/14, float64(len(f.window.Days)))
	if math.Abs(got-at) > 0.5 || got > -60 || weight < 0.99 {
		t.Errorf("adaptation of %v kcal, want %v", got, at)
	}
	p = newTrainee(1)
	if got := p.facts().adaptationKcal(2500); got != 0 {
		t.Errorf("adaptation of %v without a log", got)
	}
}

// Food goes first; where the floor binds, activity up to the cap; where that is
// not enough the loss slows down, and the day is told.
func TestForecastFloorAndLevers(t *testing.T) {
	free := toward(60, 76).forecast().Outlooks[1]
	least := free.TargetAtGoal.IntakeKcal + 30 // binds on the way, not today
	if least >= free.TargetNow.IntakeKcal {
		t.Fatalf("%+v", free)
	}
	for _, c := range []struct {
		what string
		edit func(*engine.Plan)
		ok   func(o Outlook) bool
	}{
		{"walking takes over", func(*engine.Plan) {}, func(o Outlook) bool {
			return o.TargetNow == free.TargetNow && o.TargetAtGoal.IntakeKcal == least && o.TargetAtGoal.ActivityKcal > 125 &&
				o.TargetAtGoal.ActivityKcal < 250 && !o.FloorDay.OK && o.Median.Day >= free.Median.Day && o.Median.Day <= free.Median.Day+5
		}},
		{"the cap is the base", func(p *engine.Plan) { p.ActivityCapKcal = 125 }, func(o Outlook) bool {
			return o.TargetAtGoal == engine.Target{IntakeKcal: least, ActivityKcal: 125} && o.FloorDay.OK &&
				o.FloorDay.Day > toward(60, 76).today() && o.FloorDay.Day < o.Median.Day && o.Median.Day >= free.Median.Day
		}},
		{"no walking", func(p *engine.Plan) { p.ActivityLever = false }, func(o Outlook) bool {
			return o.TargetNow.ActivityKcal == 0 && o.TargetAtGoal == engine.Target{IntakeKcal: least} && o.FloorDay.OK
		}},
		{"food stays", func(p *engine.Plan) { p.FoodLever = false }, func(o Outlook) bool {
			return o.TargetNow.IntakeKcal == 2100 && o.TargetAtGoal.IntakeKcal == 2100 && o.TargetAtGoal.ActivityKcal > o.TargetNow.ActivityKcal
		}},
		{"a floor far up", func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(2400) }, func(o Outlook) bool {
			return o.TargetNow == engine.Target{IntakeKcal: 2400, ActivityKcal: 400} && o.FloorDay == engine.SomeDay(toward(60, 76).today()) && o.Median.Day > free.Median.Day+10
		}},
		{"a floor over maintenance", func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(3500) }, func(o Outlook) bool {
			return !o.Median.OK && !o.Latest.OK && o.TargetAtGoal.IntakeKcal == 3500
		}},
	} {
		p := toward(60, 76)
		p.plan.IntakeFloorKcal = engine.Some(least)
		c.edit(&p.plan)
		o := p.forecast()
		if len(o.Outlooks) != 3 || !c.ok(o.Outlooks[1]) {
			t.Errorf("%s: %+v, free %+v", c.what, o, free)
			continue
		}
		codes := map[Code]bool{}
		for _, x := range o.Findings {
			codes[x.Code] = true
		}
		if codes[CodeFloorAhead] != o.Outlooks[1].FloorDay.OK || codes[CodeLatestNotForeseen] == o.Outlooks[1].Latest.OK || !codes[CodeFatNotMeasured] {
			t.Errorf("%s: findings %v", c.what, o.Findings)
		}
	}
}

func TestForecastWhyNot(t *testing.T) {
	for _, c := range []struct {
		what string
		edit func(p *trainee)
		code Code
	}{
		{"closed", func(p *trainee) { p.plan.State = engine.PlanClosed }, CodeClosed},
		{"referred", func(p *trainee) { p.profile.Conditions = engine.Pregnant }, CodeCondition},
		{"too lean a goal", func(p *trainee) { p.plan.GoalBodyFatPct = engine.Some(4) }, CodeGoalTooLean},
		{"no height", func(p *trainee) { p.profile.HeightCm = engine.Opt{} }, CodeProfileIncomplete},
		{"no plan", func(p *trainee) { p.plan.PacePctPerWeek = 3 }, CodePlanNotValid},
		{"finished", func(p *trainee) { p.inForce(engine.Finish, -3) }, CodePlanFinished},
		{"going back up", func(p *trainee) { p.inForce(engine.ReturnToMaintenance, -3) }, CodeDeficitOver},
		{"no goal", func(p *trainee) { p.plan.GoalWeightKg = engine.Opt{} }, CodeNoGoal},
		{"no weights", func(p *trainee) {
			for i := range p.window.Days {
				p.window.Days[i].WeightKg = engine.Opt{}
			}
		}, CodeNoEstimate},
		{"not measured", func(p *trainee) {
			p.plan.GoalWeightKg, p.plan.GoalBodyFatPct = engine.Opt{}, engine.Some(15)
		}, CodeGoalNotMeasured},
		{"reached", func(p *trainee) { p.plan.GoalWeightKg = engine.Some(84) }, CodeGoalReached},
		{"over 100 years", func(p *trainee) { p.profile.BirthDate.Day -= 100 * 366 }, CodeBodyNotCovered},
	} {
		p := toward(60, 76)
		c.edit(p)
		o := p.forecast()
		if len(o.Outlooks) > 0 || o.WhyNot == "" || len(o.Findings) == 0 || o.Findings[0].Code != c.code || len(o.Cautions) < 6 {
			t.Errorf("%s: %+v", c.what, o)
		}
	}
	if o := toward(60, 76).forecast(); o.WhyNot != "" || len(o.Outlooks) != 3 || len(o.Cautions) < 6 || o.Cautions[0].Code != CodeNotMedicalAdvice {
		t.Errorf("%+v", o)
	}
}

// The deficit begins after what is left of the maintenance test.
func TestForecastBeginsWithTheDeficit(t *testing.T) {
	p := newTrainee(1)
	p.live(4, 2700)
	p.plan.GoalWeightKg = engine.Some(80)
	for what, c := range map[string]struct {
		begin engine.Day
		skip  bool
		want  engine.Day
	}{
		"in the test":            {start, false, start + 10},
		"test overdue":           {start - 20, false, start + 4},
		"not begun":              {start + 8, false, start + 18},
		"not begun, no test":     {start + 8, true, start + 8},
		"no test, no cut so far": {start, true, start + 4},
	} {
		p.plan.Start, p.plan.SkipMaintenanceTest = c.begin, c.skip
		if got := p.facts().deficitFrom(); got != c.want {
			t.Errorf("%s: from %v, want %v", what, got, c.want)
		}
		if o := p.forecast(); len(o.Outlooks) != 3 || o.Outlooks[2].Earliest.Day <= c.want {
			t.Errorf("%s: %+v", what, o)
		}
	}
}

// inForce records an action so many days from today, at the target in force.
func (p *trainee) inForce(a engine.Action, days engine.Day) {
	t, _ := p.plan.TargetOn(p.today())
	p.plan.Decisions = append(p.plan.Decisions, engine.Decision{From: p.today() + days, Action: a, Target: t})
}

// On a break it goes on when that is over; illness changes nothing.
func TestForecastAfterABreak(t *testing.T) {
	p := toward(60, 76)
	p.inForce(engine.TakeBreak, -3)
	if got, want := p.facts().deficitFrom(), p.today()+7; got != want {
		t.Errorf("from %v, want %v", got, want)
	}
	p = newTrainee(1)
	p.live(4, 2700)
	p.window.Days[3].Marks = p.window.Days[3].Marks.With(engine.MarkIllness)
	if f := p.facts(); f.stage != Paused || f.deficitFrom() != start+10 {
		t.Errorf("stage %d, from %v", f.stage, f.deficitFrom())
	}
}

// No pace is over 1 kg a week.
func TestForecastPaceIsCapped(t *testing.T) {
	p := newTrainee(1)
	p.tissueKg, p.startKg, p.maintenance = 160, 160, 3800
	p.profile.MaintenanceGuessKcal = engine.Some(3800)
	p.live(20, 3800)
	p.plan.GoalWeightKg, p.plan.SkipMaintenanceTest = engine.Some(120), true
	o := p.forecast()
	if len(o.Outlooks) != 3 || o.Outlooks[0].PacePctPerWeek != 0.5 {
		t.Fatalf("%+v", o)
	}
	for _, x := range o.Outlooks[1:] {
		if kg := x.PacePctPerWeek / 100 * 160; kg < 0.98 || kg > 1.02 {
			t.Errorf("%d: %.3f kg a week", x.Pace, kg)
		}
	}
}

func BenchmarkForecast(b *testing.B) {
	for _, goal := range []float64{78, 62} {
		p := toward(80, goal)
		b.Run(fmt.Sprintf("forecast/recommend,goal_%.0f_kg", goal), func(b *testing.B) {
			var one, other []float64
			for b.Loop() {
				one = append(one, nsOf(func() { p.forecast() }))
				other = append(other, nsOf(func() { Recommend(p.window, p.profile, p.plan, p.today()) }))
			}
			slices.Sort(one)
			slices.Sort(other)
			b.ReportMetric(one[len(one)/2]/other[len(other)/2], "ratio")
		})
	}
}
