package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
)

// takeBreak recommends ten days at maintenance. Breaks leave the loss of trained
// people as it is and their hunger lower: Peos JJ et al., Med Sci Sports Exerc
// 2021;53:1685-1698 (abstract).
func (f *facts) takeBreak(why Finding) verdict {
	back := f.wayBack(breakDays)
	back.Steps = back.Steps[len(back.Steps)-1:] // a break is at maintenance from its first day
	t := back.Steps[0]
	return verdict{
		action:   engine.TakeBreak,
		headline: fmt.Sprintf("%s Take a break of about %d days at %.0f kcal a day, the present maintenance; then the cut goes on. %s", why.Sentence, breakDays, t.IntakeKcal, waterBackWords(back)),
		findings: []Finding{why, {
			Code: CodeBreakForHunger, Severity: Info,
			Sentence: "A break helps hunger and makes the plan easier to keep; it does not speed up the loss.",
		}},
		proposed: &t,
		back:     back,
	}
}

// largeStep is the rise of intake that is made in two steps, as a share of the
// intake; common practice, no source.
const largeStep = 0.20

// wayBack is the way up to maintenance at the present activity, in one step or,
// when it is large, in two a week apart, with the water to expect.
func (f *facts) wayBack(watchDays int) *MaintenanceReturn {
	kcal, sd := f.estimate.HoldingIntake(f.present.ActivityKcal)
	z := dist.NormalQuantile(0.90) // of a central interval of 80 %
	half := z * sd
	rise := kcal - f.present.IntakeKcal
	swing := (kcal - f.estimate.IntakeKcal) / 1000
	water, waterHalf := swing*f.estimate.WaterKgPer1000Kcal, z*math.Abs(swing)*f.estimate.WaterSDKgPer1000Kcal
	r := &MaintenanceReturn{
		MaintenanceKcal: kcal, LowKcal: kcal - half, HighKcal: kcal + half,
		RegainLowKg: max(water-waterHalf, 0), RegainHighKg: max(water+waterHalf, 0),
		WatchDays: watchDays,
	}
	if rise > largeStep*f.present.IntakeKcal {
		r.Steps = append(r.Steps, f.target(f.present.IntakeKcal+rise/2, f.present.ActivityKcal))
	}
	r.Steps = append(r.Steps, f.target(kcal, f.present.ActivityKcal))
	for i := range r.Steps {
		r.Steps[i].ActivityKcal = f.stay().ActivityKcal // left as it is, not rounded
		r.Steps[i].Refeed = engine.Refeed{}             // every day is at maintenance
	}
	return r
}

func waterBackWords(r *MaintenanceReturn) string {
	if math.Round(10*r.RegainHighKg) == 0 {
		return "The scale should stay about where it is."
	}
	return fmt.Sprintf("Expect %.1f to %.1f kg of water to come back within days: that is not fat.", r.RegainLowKg, r.RegainHighKg)
}
