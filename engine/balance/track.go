package balance

import "example.com/steelyard/engine"

// Track is a run of the filter: each day, and where it stands at the end.
type Track struct {
	Days []State // one a day of the input

	end     filter
	refused []Refusal
}

// Run replays the filter over the days from first on. It stands at the last
// day's morning reading: that day's intake is not read. It never fails; with
// too few readings or a guess outside 0..20000 kcal/d no day is Started.
//
// The starting weight is known only in hindsight: the states before the third
// reading already use it. Mornings tells how it stood then.
func Run(first engine.Day, in []Input, g Guess) Track {
	return new(Scratch).Run(first, in, g)
}

// Scratch is the memory of a run, for callers who make many of them one after
// the other: from the second of a size on they allocate nothing. The zero value
// is ready. What its methods return holds until the next call of one; Inputs are
// in memory of their own, and hold until they are made again.
type Scratch struct {
	inputs  []Input
	days    []State
	refused []Refusal
	nights  []night
	smooth  []State
}

// Run is the function of that name.
func (m *Scratch) Run(first engine.Day, in []Input, g Guess) Track {
	var r run
	m.begin(&r, first, in, g)
	for i := range in {
		m.morning(&r, i)
	}
	return m.track(&r)
}

func (m *Scratch) begin(r *run, first engine.Day, in []Input, g Guess) {
	from, ok := findStart(in)
	r.prepare(first, in, from, ok, g)
	m.days, m.refused = sized(m.days, len(in)), m.refused[:0]
}

func (m *Scratch) morning(r *run, i int) {
	s := &m.days[i]
	r.morning(i, s)
	if s.Refused != ReasonNone {
		m.refused = append(m.refused, Refusal{Day: s.Day, WeightKg: r.in[i].WeightKg.V, Reason: s.Refused})
	}
}

func (m *Scratch) track(r *run) Track {
	return Track{Days: m.days, end: r.filter, refused: m.refused}
}

// sized returns a slice of n elements, of which the old ones are stale.
func sized[T any](old []T, n int) []T {
	if cap(old) < n {
		return make([]T, n)
	}
	return old[:n]
}

// UsualKcal is the intake that stands in where no target is in force: the mean
// of the logged days, the recent ones weighing more, or the guess in tracked
// kcal before there is one.
func (t Track) UsualKcal() float64 { return t.end.eater.usualKcal() }
