package balance

import (
	"slices"

	"example.com/steelyard/engine"
)

// The filter starts from the median of the first readings; fitted on the
// virtual cohort. Without leaving out the wild ones, one wrong first entry
// biases the rate of day 20 by 0.2 % a week.
const (
	startReadings = 3
	startDays     = 7   // or so many days, the first reading's included, with fewer
	startWildKg   = 2.5 // further from the median than this is not a weight
)

// start is where the filter begins.
type start struct {
	row      int // of the first valid reading
	weightKg float64
	rows     [startReadings]int // of the readings the median is from
	n        int
}

// findStart looks for the first readings in the valid range. It is false when
// there are too few.
func findStart(in []Input) (start, bool) {
	var s start
	var kg [startReadings]float64
	for i := range in {
		if s.n < startReadings && IsWeight(in[i].WeightKg) {
			s.rows[s.n], kg[s.n] = i, in[i].WeightKg.V
			s.n++
		}
	}
	s.row = s.rows[0]
	if s.n == 0 || s.n < startReadings && len(in)-s.row < startDays {
		return start{}, false
	}
	first := kg[:s.n]
	slices.Sort(first)
	s.weightKg = (first[(s.n-1)/2] + first[s.n/2]) / 2
	return s, true
}

// isWild reports whether the reading in a row is one of the first and too far
// from their median.
func (s start) isWild(row int, kg float64) bool {
	return slices.Contains(s.rows[:s.n], row) && (kg-s.weightKg > startWildKg || s.weightKg-kg > startWildKg)
}

// StartWeight returns the weight that a run over the inputs would start from,
// the median of the first three valid readings, and its row. It is what a
// guess of maintenance is to be made for. It is false when the filter would
// not start.
func StartWeight(in []Input) (kg float64, row int, ok bool) {
	s, ok := findStart(in)
	return s.weightKg, s.row, ok
}

// IsWeight reports whether a number can be the weight that the filter reads:
// 30..200 kg.
func IsWeight(o engine.Opt) bool {
	return o.OK && o.V >= minWeightKg && o.V <= maxWeightKg
}

// begin sets the prior on the morning of the first valid reading.
func (f *filter) begin(s start, g Guess, hasPeriods bool) {
	f.started = true
	f.t0 = s.weightKg
	f.noise = 1
	f.x = vector{sT: s.weightKg, sM: f.ref, sK: startSwing, sC: startCycle}
	sd := vector{sT: startTissueSD, sM: g.sd(), sA: waterSD, sK: startSwingSD}
	if hasPeriods {
		sd[sC] = startCycleSD
	}
	for i, v := range sd {
		f.p[i][i] = v * v
	}
}
