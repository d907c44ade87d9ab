package balance

import "example.com/steelyard/engine"

// Mornings tells of each day what a run through it says of its last morning:
// what was known then, and nothing of what came later. With guess(kg, row) the
// guess for a start at a weight and row, as from StartWeight, element i is
//
//	kg, row, ok := StartWeight(in[:i+1])
//	g, ok := guess(kg, row)
//	Run(first, in[:i+1], g).Days[i]
//
// and not Started where one of the two is false. One run is carried forward. It
// begins again only when a day changes what the days before started from: a
// first, second or third valid reading, and the first marked period; so all
// mornings of a year cost little more than its last.
func Mornings(first engine.Day, in []Input, guess func(kg float64, row int) (Guess, bool)) []State {
	return new(Scratch).Mornings(first, in, guess)
}

// Mornings is the function of that name.
func (m *Scratch) Mornings(first engine.Day, in []Input, guess func(kg float64, row int) (Guess, bool)) []State {
	m.days = sized(m.days, len(in))
	var r run
	var from start
	var g Guess
	found, ok, hasPeriods := false, false, false
	next := 0 // row that the run has not seen
	for i := range in {
		changed := i == 0
		if in[i].IsPeriodStart && !hasPeriods {
			hasPeriods, changed = true, true
		}
		if from.n < startReadings {
			if now, isFound := findStart(in[:i+1]); isFound != found || now != from {
				from, found, changed = now, isFound, true
				if ok = found; found {
					g, ok = guess(from.weightKg, from.row)
				}
			}
		}
		if changed {
			r.prepare(first, in[:i+1], from, ok, g)
			next = 0
		}
		r.in = in[:i+1]
		for ; next <= i; next++ {
			r.morning(next, &m.days[i])
		}
	}
	return m.days
}
