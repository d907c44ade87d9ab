package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// living is a life under way: what was logged up to this morning and what is
// prescribed.
type living struct {
	life
	start        time.Time
	weekendExtra float64 // of the plan, kcal/d
	days         []diary
	target       *steelyardv1.Target
	nextRefeed   time.Time // zero while none are prescribed
}

// firstRefeedAfter is how many days a trainee lets pass before the first refeed
// of a new cadence.
const firstRefeedAfter = 3

func newLiving(l life, sc Scenario) *living {
	l.body.rng = rand.New(rand.NewPCG(l.seed, 2025))
	l.body.firstKg = l.body.tissueKg
	return &living{
		life: l, start: fromDate(sc.Plan.GetStartDate()), weekendExtra: sc.Plan.GetWeekendExtraKcal(),
		target: &steelyardv1.Target{IntakeKcal: l.before},
	}
}

// until lives through the morning of a day.
func (l *living) until(day time.Time) {
	if len(l.days) == 0 {
		l.morning(l.start)
	}
	for last := l.days[len(l.days)-1].day; last.Before(day); last = last.AddDate(0, 0, 1) {
		l.evening()
		l.morning(last.AddDate(0, 0, 1))
	}
}

// decided takes a new prescription from this morning on.
func (l *living) decided(d *steelyardv1.Decision) {
	if every := d.GetTarget().GetRefeedEveryDays(); every == 0 {
		l.nextRefeed = time.Time{}
	} else if every != l.target.GetRefeedEveryDays() {
		l.nextRefeed = fromDate(d.GetFromDate()).AddDate(0, 0, firstRefeedAfter)
	}
	l.target = d.GetTarget()
}

func (l *living) planDay(day time.Time) int { return int(day.Sub(l.start).Hours()/24) + 1 }

// ordinaryKcal is what the target asks for on an ordinary day: where the plan
// gives Saturday and Sunday more, the other five days pay for it.
func (l *living) ordinaryKcal(day time.Time) float64 {
	if isWeekend(day) {
		return l.target.GetIntakeKcal() + l.weekendExtra
	}
	return l.target.GetIntakeKcal() - 2*l.weekendExtra/5
}

func isWeekend(day time.Time) bool {
	return day.Weekday() == time.Saturday || day.Weekday() == time.Sunday
}

// refeed is what a day's refeed asks for; 0 on other days.
func (l *living) refeed(day time.Time, w happening) float64 {
	if w.refeedKcal == 0 && !l.nextRefeed.IsZero() && !day.Before(l.nextRefeed) && !w.silent {
		l.nextRefeed = day.AddDate(0, 0, int(l.target.GetRefeedEveryDays()))
		return l.target.GetRefeedIntakeKcal()
	}
	return w.refeedKcal
}

// morning weighs, and answers the check-in on a Sunday.
func (l *living) morning(day time.Time) {
	d, b := diary{day: day}, &l.body
	n := l.planDay(day)
	w := l.on(n)
	kg := b.morning() + w.typoKg
	missed := b.rng.Float64() < b.missesWeigh
	if w.mark != "" {
		d.marks = append(d.marks, w.mark)
	}
	if !w.silent {
		if !missed || w.typoKg != 0 {
			d.weight = fmt.Sprintf("%.1f", kg)
		}
		if day.Weekday() == time.Sunday {
			d.waist = fmt.Sprintf("%.1f", l.waist+0.9*(b.tissueKg-b.firstKg)+0.3*b.rng.NormFloat64())
			d.checkIn = checkIn(b.rng, w.isHard)
			if n == l.notSlogOn {
				d.checkIn += "no"
			}
		}
	}
	l.days = append(l.days, d)
}

// checkIn answers the weekly questions, the first-month one left open.
func checkIn(rng *rand.Rand, isHard bool) string {
	low, high := 3, 5
	if isHard {
		low, high = 1, 3
	}
	score := func(most int) int { return low + rng.IntN(most-low+1) }
	return fmt.Sprintf("%d,%d,%d,%d,", score(high-1), score(high-1), score(high), score(high))
}

// evening eats, walks and lifts on the last day in the diary.
func (l *living) evening() {
	d, b := &l.days[len(l.days)-1], &l.body
	n := l.planDay(d.day)
	w := l.on(n)
	kcal := b.eats(l.ordinaryKcal(d.day), w.over, d.day)
	if refeed := l.refeed(d.day, w); refeed > 0 {
		kcal = refeed / (1 - b.hidden) * (1 + 0.02*b.rng.NormFloat64())
		b.spikeKg += 0.7
		d.marks = append(d.marks, "refeed")
		d.refeedKcal = fmt.Sprintf("%.0f", refeed)
	}
	missed := b.rng.Float64() < b.missesLog
	steps := math.Round((l.steps+l.target.GetActivityKcal()*25+600*b.rng.NormFloat64())/100) * 100
	if !w.silent {
		if !missed {
			d.intake = fmt.Sprintf("%.0f", math.Round(kcal*(1-b.hidden)/10)*10)
			d.protein = fmt.Sprintf("%.0f", math.Round(1.9*b.firstKg*(1+0.08*b.rng.NormFloat64())))
		}
		d.steps = fmt.Sprintf("%.0f", max(steps, 0))
		for _, lift := range l.lifts {
			if !slices.Contains(lift.on, d.day.Weekday()) {
				continue
			}
			for set := range 3 {
				d.sets = append(d.sets, fmt.Sprintf("%s,%.1f,%d,%d", lift.name, lift.loadKg+2.5*float64(n/84), 8-set, 2-set/2))
			}
		}
	}
	b.live(kcal, l.target.GetActivityKcal(), w.workKcal)
}
