package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// The cadence of refeeds by how long the cut has run; a deep deficit and high
// strain bring the next one sooner. Common practice, no source.
var refeedCadence = [...]struct{ fromDay, everyDays int }{
	{refeedFromDays, 14},
	{2 * refeedFromDays, 10},
	{3 * refeedFromDays, 7},
}

const (
	deepDeficit   = 0.30 // of maintenance; the deepest opening cut is 0.25
	refeedWorth   = 150  // kcal over the mean; less is no refeed
	waterToRefeed = refeedDays
)

// refeedsDue returns the cadence that the cut has come to, in days, and false
// where none is due beyond the one in force.
func (f *facts) refeedsDue() (everyDays int, ok bool) {
	day := f.cutDay()
	if !f.plan.AllowRefeeds || day < refeedFromDays {
		return 0, false
	}
	level := -1
	for i, c := range refeedCadence {
		if day >= c.fromDay {
			level = i
		}
	}
	if f.deficitShare() >= deepDeficit {
		level++
	}
	if f.strain().IsHigh {
		level++
	}
	everyDays = refeedCadence[min(level, len(refeedCadence)-1)].everyDays
	now := f.present.Refeed.EveryDays
	return everyDays, now == 0 || everyDays < now
}

// deficitShare is how far the prescription lies under maintenance, as a share of it.
func (f *facts) deficitShare() float64 {
	hold, _ := f.estimate.HoldingIntake(f.present.ActivityKcal)
	return 1 - f.estimate.IntakeKcal/hold
}

// proposeRefeeds works out the next cadence: a refeed at about maintenance,
// saved up over the ordinary days. It is nil when none is due; whyNot says why
// one that is due cannot be had.
func (f *facts) proposeRefeeds() (p *RefeedProposal, whyNot string) {
	every, ok := f.refeedsDue()
	if !ok {
		return nil, ""
	}
	hold, _ := f.estimate.HoldingIntake(f.present.ActivityKcal)
	mean := f.present.MeanIntakeKcal()
	size := roundKcal * math.Round(hold/roundKcal)
	if size-mean < refeedWorth {
		return nil, "The intake is so near maintenance that a refeed would not be one."
	}
	n := float64(every)
	ordinary := roundKcal * math.Round((n*mean-size)/(n-1)/roundKcal)
	if ordinary < f.floorKcal.Or(0) {
		return nil, fmt.Sprintf("Saving up for a refeed would bring the ordinary days under the floor of %.0f kcal.", f.floorKcal.V)
	}
	t := f.stay()
	t.IntakeKcal, t.Refeed = ordinary, engine.Refeed{EveryDays: every, IntakeKcal: size}
	low, high := balance.RefeedWater(size - ordinary)
	return &RefeedProposal{
		Target: t, Earliest: f.asOf, BumpLowKg: low, BumpHighKg: high, ReadAgainDays: waterToRefeed,
		MeanIntakeKcal: t.MeanIntakeKcal(), OrdinaryLessKcal: f.present.IntakeKcal - ordinary,
	}, ""
}
