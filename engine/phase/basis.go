package phase

import "example.com/steelyard/engine"

// basisDays is how far back the days are counted that a recommendation rests on.
const basisDays = 28

func (f *facts) countBasis() Basis {
	var b Basis
	if f.estimate != nil {
		b.ReadingsUsed = f.estimate.ReadingsUsed
		b.ReadingsRefused = len(f.estimate.Refused)
	}
	for back := range engine.Day(14) {
		morning, yesterday := f.asOf-back, f.asOf-1-back
		if f.isUsed(morning) {
			b.ReadingsLast14++
			if back < 7 {
				b.ReadingsLast7++
			}
		}
		if f.row(yesterday).IntakeKcal.OK {
			b.LoggedLast14++
			if back < 7 {
				b.LoggedLast7++
			}
		}
	}
	first, ok := f.firstEntry()
	for d := max(first, f.asOf-basisDays); ok && d < f.asOf; d++ {
		b.LogDays++
		if f.row(d).IntakeKcal.OK {
			b.LoggedDays++
		}
	}
	return b
}

func (f *facts) firstEntry() (engine.Day, bool) {
	for i := range f.window.Days {
		if !f.window.Days[i].IsEmpty() {
			return f.window.First + engine.Day(i), true
		}
	}
	return 0, false
}
