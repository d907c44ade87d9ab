package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// Standard errors of one body-fat reading, percentage points.
const (
	// DXA against a five-component model in 170 adults. Source: Tinsley GM, Br J
	// Nutr, online 14 September 2020, Five-component model validation (abstract:
	// 2.3 at most).
	fatSEDXA = 2.3
	// Skinfolds: a body density within 0.0077 g/mL, 495/D^2 times that at D =
	// 1.05. Source: Jackson AS, Pollock ML, Br J Nutr 1978;40:497-504 (abstract).
	fatSECalipers = 3.5
	// Impedance against a four-compartment model: 95 % limits of agreement 15 to
	// 20 points wide, so 3.8 to 5.1. Source: systematic review, J Funct Morphol
	// Kinesiol 2026;11:65 (abstract).
	fatSEImpedance = 4.5
	// Looking, and a method that is not named: common practice, no source.
	fatSEOther = 5.0
)

// Body fat outside this range is no reading, % (as the equations have it).
const minFatPct, maxFatPct = 2, 70

// fatCarryDays is how long after a reading of body fat its weight may follow:
// our own, no source.
const fatCarryDays = 7

// fatNow is body fat on the morning of asOf.
type fatNow struct {
	pct, sePct float64
	method     engine.BodyFatMethod
	day        engine.Day // of the reading
}

// bodyFat is the present body fat by the latest reading, or by the latest tape
// where there is none, carried to the present trend weight along the Forbes
// curve; on the way its error in points stays the same within a few hundredths
// of itself. It is false with neither, without a trend weight of the reading's day
// or the week after it, and where the curve does not reach.
func (f *facts) bodyFat() (fatNow, bool) {
	r, ok := f.fatReading()
	now, isNow := f.trendOn(f.asOf)
	if !ok || !isNow {
		return fatNow{}, false
	}
	for d := r.day; d <= r.day+fatCarryDays; d++ {
		then, isThen := f.trendOn(d)
		if !isThen {
			continue
		}
		r.pct, ok = carryFat(r.pct, then, now)
		return r, ok
	}
	return fatNow{}, false
}

// fatReading is the latest reading, or the latest tape that makes one.
func (f *facts) fatReading() (fatNow, bool) {
	for i := len(f.window.BodyFat) - 1; i >= 0; i-- {
		if b := f.window.BodyFat[i]; b.Pct >= minFatPct && b.Pct <= maxFatPct {
			return fatNow{pct: b.Pct, sePct: f.fatSE(b.Method), method: b.Method, day: b.Day}, true
		}
	}
	for i := len(f.window.Tapes) - 1; i >= 0; i-- {
		t := f.window.Tapes[i]
		if e, ok := physiology.BodyFatByTape(f.profile.Sex, f.profile.HeightCm.V, t.Tape); ok {
			return fatNow{pct: e.Pct, sePct: e.SEPct, method: engine.BodyFatTape, day: t.Day}, true
		}
	}
	return fatNow{}, false
}

// fatSE is the standard error of a method, percentage points.
func (f *facts) fatSE(m engine.BodyFatMethod) float64 {
	switch m {
	case engine.BodyFatDXA:
		return fatSEDXA
	case engine.BodyFatCalipers:
		return fatSECalipers
	case engine.BodyFatImpedance:
		return fatSEImpedance
	case engine.BodyFatTape: // see physiology.BodyFatByTape
		if f.profile.Sex == engine.Male {
			return 3.52
		}
		return 3.72
	}
	return fatSEOther
}

// trendOn is the trend weight of a morning.
func (f *facts) trendOn(d engine.Day) (float64, bool) {
	s, ok := f.state(d)
	if !ok || !s.Started {
		return 0, false
	}
	return s.TrendWeightKg, true
}

// carryFat takes a body-fat percentage from one weight to another along the
// Forbes curve.
func carryFat(pct, fromKg, toKg float64) (float64, bool) {
	fat := pct / 100 * fromKg
	if toKg != fromKg {
		c, ok := physiology.ForbesChange(fat, toKg-fromKg)
		if !ok {
			return 0, false
		}
		fat += c.FatKg
	}
	pct = 100 * fat / toKg
	return pct, pct >= minFatPct && pct <= maxFatPct
}
