package cohort

import (
	"math/rand/v2"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
)

// openDays are the mornings on which the open loop asks.
func openDays() []int { return []int{20, 27, 34, 60} }

// guessed is one morning's estimate against the truth.
type guessed struct {
	isKnown         bool
	rateError       float64 // %/week
	maintenanceKcal float64 // its error
	in80, in95      bool    // the true rate lies in the interval
}

// schedule are the targets of a plan that asks no one, by the day from which
// they hold.
type schedule map[int]engine.Target

const cutDay, stepDay = 10, 41

// drawSchedule draws an opening cut of 12-25 % of the guess, base activity on
// day 27 and, for half of the people, 5-10 % less food from day 41 on.
func drawSchedule(p *person, r *rand.Rand) schedule {
	cut, hasStep, step := 0.12+0.13*r.Float64(), r.IntN(2) == 0, 0.05+0.05*r.Float64()
	t := engine.Target{IntakeKcal: p.testKcal()}
	s := schedule{0: t}
	t.IntakeKcal = toFive((1 - cut) * t.IntakeKcal)
	s[cutDay] = t
	t.ActivityKcal = engine.DefaultPlan(start).BaseActivityKcal
	s[cutDay+baseActivityDays] = t
	if hasStep {
		t.IntakeKcal = toFive((1 - step) * t.IntakeKcal)
		s[stepDay] = t
	}
	return s
}

// observe lives under a schedule and compares the estimates of some mornings
// with the truth. Refeeds are as in the closed loop.
func observe(p *person, fate []chance, s schedule) ([]guessed, error) {
	l := newLife(p, fate)
	var out []guessed
	for day := 0; len(out) < len(openDays()); day++ {
		l.wake()
		if slices.Contains(openDays(), day) {
			out = append(out, l.compare())
		}
		if t, ok := s[day]; ok {
			action := engine.Hold
			if day == cutDay {
				action = engine.StartDeficit
			}
			l.record(action, t)
		}
		if err := l.live(l.refeedKcal()); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// compare asks for the estimate of this morning. The prescription is that of
// the day before: a new one of today is yet to be made.
func (l *life) compare() guessed {
	e := phase.EnergyBalance(l.window, l.profile, &l.plan, l.today()).Estimate
	if e == nil {
		return guessed{}
	}
	rate := l.trueRate()
	isIn := func(level float64) bool {
		low, high := e.Interval(level)
		return rate >= low && rate <= high
	}
	return guessed{
		isKnown: true, rateError: e.RatePctPerWeek - rate, maintenanceKcal: e.MaintenanceKcal - l.trueMaintenance(),
		in80: isIn(0.80), in95: isIn(0.95),
	}
}
