package cohort

import (
	"math"
	"math/rand/v2"
)

// lifeDays is how long everyone is followed: the test and 130 days of cut.
const lifeDays = 140

// chance is what befalls a person on a day, whatever is prescribed: drawn
// before the life is lived, so that two coaches meet the same luck.
type chance struct {
	eatLogged, eatUnlogged float64 // standard normal
	slipKcal               float64
	underStep, wanderStep  float64 // standard normal
	isWeighed, isLogged    bool
	isSaltyMarked          bool // a salty meal on this day
	isPeriodMarked         bool // the period starts on this day
	waterKg                float64
	scaleKg                float64
	typo                   typo
}

// typo is a way to write a reading down wrongly.
type typo uint8

const (
	noTypo typo = iota
	tenMore
	tenLess
	timesTen
	oneMore
	swapped
	typos
)

// drawFate draws a whole life's chances. How many numbers it takes does not
// depend on what they are.
func drawFate(p *person, r *rand.Rand) []chance {
	days := make([]chance, lifeDays)
	wandering := p.waterSDKg * r.NormFloat64()
	salt := 0.0
	for i := range days {
		c := &days[i]
		c.waterKg = wandering + salt + p.weekdayWater(i) + p.cycleWater(i)
		c.eatLogged, c.eatUnlogged = r.NormFloat64(), r.NormFloat64()
		c.underStep, c.wanderStep = r.NormFloat64(), r.NormFloat64()
		slip, slipKcal := r.Float64(), 500+1000*r.Float64()
		if slip < p.slipsPerDay {
			c.slipKcal = slipKcal
		}
		inGap := i >= p.gapStart && i < p.gapStart+p.gapDays
		c.isWeighed = r.Float64() >= p.missWeighIns && !inGap
		c.isLogged = r.Float64() >= p.missLogs && !inGap
		c.scaleKg = p.scaleSDKg * r.NormFloat64()
		mistake, kind := r.Float64(), typo(1+r.IntN(int(typos-1)))
		if mistake < p.typingErrorRate {
			c.typo = kind
		}
		c.isPeriodMarked = p.marksPeriods && p.periodStarts(i)

		salty, saltKg, isMarked := r.Float64(), 0.3+0.7*r.Float64(), r.Float64() < p.saltyMarked
		salt *= 0.5
		if salty < p.saltyPerDay {
			salt += saltKg
			c.isSaltyMarked = isMarked
		}
		fresh := p.waterSDKg * math.Sqrt(1-p.waterCarry*p.waterCarry)
		wandering = p.waterCarry*wandering + fresh*r.NormFloat64()
	}
	return days
}

func (p *person) weekdayWater(day int) float64 {
	return p.weekdayKg * math.Cos(2*math.Pi*(float64(day)-p.weekdayPhase)/7)
}

// cycleWater is a bump about the first day of each period.
func (p *person) cycleWater(day int) float64 {
	if p.periodDays == 0 {
		return 0
	}
	const widthDays = 3
	x := math.Mod(float64(day)/p.periodDays+p.periodPhase, 1) * p.periodDays // since the last period
	bump := func(days float64) float64 { return math.Exp(-days * days / (2 * widthDays * widthDays)) }
	return p.cycleKg * max(bump(x), bump(p.periodDays-x))
}

func (p *person) periodStarts(day int) bool {
	if p.periodDays == 0 {
		return false
	}
	count := func(day int) float64 { return math.Floor(float64(day)/p.periodDays + p.periodPhase) }
	return count(day) > count(day-1)
}
