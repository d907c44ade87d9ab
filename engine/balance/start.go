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

// slackKg keeps a reading that lies right on a bound on the same side of it when
// it comes by way of another unit, rounded there in its last bit.
const slackKg = 1e-9

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
	for i := 0; i < len(in) && s.n < startReadings; i++ {
		if IsWeight(in[i].WeightKg) {
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
func (s *start) isWild(row int, kg float64) bool {
	if row > s.rows[s.n-1] || !slices.Contains(s.rows[:s.n], row) {
		return false
	}
	return max(kg-s.weightKg, s.weightKg-kg) > startWildKg+slackKg
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
	return o.OK && o.V >= minWeightKg-slackKg && o.V <= maxWeightKg+slackKg
}

// begin sets the prior on the morning of the first valid reading.
func (f *filter) begin(s start, g Guess, hasPeriods bool) {
	f.started = true
	f.t0 = s.weightKg
	f.noise = 1
	f.x = vector{t: s.weightKg, m: f.ref, k: startSwing, c: startCycle}
	f.p = covariance{tt: square(startTissueSD), mm: square(g.sd()), aa: square(waterSD), kk: square(startSwingSD)}
	if hasPeriods {
		f.p.cc = square(startCycleSD)
	}
}
