package cohort

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
	"example.com/steelyard/testdata/published"
)

// anyPerson draws a person of a cohort with a fate.
func anyPerson(t *testing.T, k Kind, number int) (*person, []chance) {
	t.Helper()
	r := rand.New(rand.NewPCG(99, uint64(k)<<32|uint64(number)))
	p, err := drawPerson(k, number, r)
	if err != nil {
		t.Fatal(err)
	}
	return &p, drawFate(&p, r)
}

// quiet is a fate without any chance: every reading and log is there and even.
func quiet(days int) []chance {
	fate := make([]chance, days)
	for i := range fate {
		fate[i].isWeighed, fate[i].isLogged = true, true
	}
	return fate
}

// tissue lives some more days and returns the fat and lean mass that changed, kg.
func (l *life) tissue(t *testing.T, days int) float64 {
	t.Helper()
	before := l.body.FatKg + l.body.LeanKg
	for range days {
		l.wake()
		if err := l.live(engine.Opt{}); err != nil {
			t.Fatal(err)
		}
	}
	return l.body.FatKg + l.body.LeanKg - before
}

// begin sets a target before the first day is lived.
func (l *life) begin(action engine.Action, target engine.Target) {
	l.plan.Decisions = append(l.plan.Decisions, engine.Decision{From: start, Action: action, Target: target})
}

// Without slips, which a mean has and a quiet fate has not, tissue holds at the
// maintenance that the truth tells.
func TestTissueHoldsAtMaintenance(t *testing.T) {
	for number := range 30 {
		p, _ := anyPerson(t, Hard, number)
		p = p.in(Steady)
		p.slipsPerDay = 0
		probe := newLife(p, quiet(1))
		probe.begin(engine.KeepLogging, engine.Target{})
		probe.wake()
		logged := probe.trueMaintenance()
		target := logged / (1 + weekendDays*p.weekend*p.loggedWeekend)

		l := newLife(p, quiet(28))
		l.begin(engine.KeepLogging, engine.Target{IntakeKcal: target})
		change := l.tissue(t, 28)
		if math.Abs(change) > 0.06 { // 20 kcal/d
			t.Errorf("person %d: %.3f kg of tissue in 28 days at maintenance", number, change)
		}
		mean := 0.0
		for _, d := range l.window.Days {
			mean += d.IntakeKcal.V / 28
		}
		if math.Abs(mean-logged) > 1 {
			t.Errorf("person %d: logged %.1f kcal a day, maintenance %.1f", number, mean, logged)
		}
	}
}

// What a person loses in a week is what the true rates of its mornings say.
func TestTrueRateIsWhatIsLost(t *testing.T) {
	for _, w := range Worlds() {
		for number := range 30 {
			p, _ := anyPerson(t, General, number)
			p = p.in(w)
			p.slipsPerDay, p.wanderKcal = 0, 0
			l := newLife(p, quiet(60))
			l.begin(engine.KeepLogging, engine.Target{IntakeKcal: 1.2 * p.guessKcal()})
			l.begin(engine.StartDeficit, engine.Target{IntakeKcal: 0.8 * p.guessKcal(), ActivityKcal: 125})
			l.wake()
			first := l.trueRate() // glycogen is far from settled, and is no tissue
			if err := l.live(engine.Opt{}); err != nil {
				t.Fatal(err)
			}
			l.tissue(t, 30)
			if now := l.trueRate(); w == Steady && math.Abs(first-now) > 0.35 {
				t.Errorf("person %d: true rate %.3f on the first day and %.3f a month later", number, first, now)
			}
			rate, change := 0.0, 0.0
			for range 7 {
				change += l.tissue(t, 1)
				rate += l.trueRate() / 7
			}
			if lost := -100 * change / l.body.WeightKg(); math.Abs(lost-rate) > 0.02 || math.Abs(rate) < 0.05 {
				t.Errorf("%v, person %d: lost %.3f %% in the week, true rate %.3f", w, number, lost, rate)
			}
		}
	}
}

// At the published partition the tissue is that of the published trajectory; at
// half of it, half of the energy that was lean is, and none is lost.
func TestTissueFollowsThePublishedModel(t *testing.T) {
	model, ok := physiology.NewBodyModel(physiology.BodyStart{Sex: engine.Male, AgeYears: 30, WeightKg: 85, HeightCm: 180, PAL: 1.6})
	if !ok {
		t.Fatal("no model")
	}
	run := func(share float64, days int) physiology.BodyState {
		p := person{model: model, leanShare: share}
		s := model.Start()
		for range days {
			if s, ok = p.metabolise(s, physiology.BodyDay{IntakeKcal: model.IntakeKcal() - 500}); !ok {
				t.Fatal("left the model")
			}
		}
		return s
	}
	checked := 0
	for _, row := range published.Read(t, "hall-trajectories.csv") {
		if row.Text("scenario") != "A" || row.Num("day") == 0 || row.Num("day") > 168 {
			continue
		}
		s := run(1, int(row.Num("day")))
		if math.Abs(s.FatKg-row.Num("fat_kg")) > 1e-4 || math.Abs(s.LeanKg-row.Num("lean_kg")) > 1e-4 {
			t.Errorf("day %v: fat %v lean %v", row.Num("day"), s.FatKg, s.LeanKg)
		}
		checked++
	}
	if checked < 5 {
		t.Fatalf("%d rows of scenario A", checked)
	}
	energy := func(s physiology.BodyState) (lean, all float64) {
		lean = physiology.LeanKcalPerKg * (s.LeanKg - model.Start().LeanKg)
		return lean, lean + physiology.FatKcalPerKg*(s.FatKg-model.Start().FatKg)
	}
	lean1, all1 := energy(run(1, 14))
	lean2, all2 := energy(run(0.5, 14))
	if math.Abs(all2/all1-1) > 0.01 || math.Abs(lean2/lean1-0.5) > 0.01 {
		t.Errorf("energy %v and %v, lean %v and %v", all1, all2, lean1, lean2)
	}
}

// True maintenance wanders by a random walk, and old habits come back, in the
// wandering world only.
func TestWorldsDiffer(t *testing.T) {
	const days, people = 100, 200
	var squares, steps float64
	for number := range people {
		drawn, fate := anyPerson(t, General, number)
		lived := func(w World) *life {
			l := newLife(drawn.in(w), fate)
			l.begin(engine.KeepLogging, engine.Target{IntakeKcal: drawn.guessKcal()})
			l.tissue(t, days)
			return l
		}
		steady, wandering := lived(Steady), lived(Wandering)
		if steady.wander != 0 || steady.creep != 0 {
			t.Fatalf("person %d is not steady: %v kcal, %v", number, steady.wander, steady.creep)
		}
		off := wandering.trueMaintenance() - steady.trueMaintenance()
		squares += off * off / people
		steps += drawn.wanderKcal * drawn.wanderKcal / people

		cutting := newLife(drawn.in(Wandering), fate)
		cutting.begin(engine.StartDeficit, engine.Target{IntakeKcal: drawn.guessKcal()})
		cutting.tissue(t, 3*creepDays)
		if got, want := cutting.creep/drawn.creep, 1-math.Exp(-3); math.Abs(got-want) > 0.01 {
			t.Errorf("person %d: %v of the old habits are back, want %v", number, got, want)
		}
		cutting = newLife(drawn.in(Steady), fate)
		cutting.begin(engine.StartDeficit, engine.Target{IntakeKcal: drawn.guessKcal()})
		if cutting.tissue(t, 10); cutting.creep != 0 {
			t.Errorf("person %d: old habits are back in the steady world", number)
		}
	}
	// In logged kcal, about 0.85 of the true ones, and over 0.9 for digestion; a
	// changed weight takes a part of it back.
	walk := math.Sqrt(steps * days)
	if sd := math.Sqrt(squares); sd < 0.6*walk || sd > 1.05*walk {
		t.Errorf("maintenance has wandered by %v kcal a day, the steps by %v", sd, walk)
	}
}

func TestCarbohydrateSwings(t *testing.T) {
	p, _ := anyPerson(t, General, 1)
	usual := p.model.IntakeKcal()
	p.carbSwing = 2
	for share, want := range map[float64]float64{1: 0.5, 0.75: 0.25, 1.1: 0.6, 0.5: 0.025, 2: 1.5, 4: 3.5} {
		if got := p.carbKcal(share*usual) / usual; math.Abs(got-want) > 1e-9 {
			t.Errorf("at %v of the usual intake %v of it is carbohydrate, want %v", share, got, want)
		}
	}
}
