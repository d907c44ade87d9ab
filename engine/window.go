package engine

// Window is the rolling days of one trainee: one row a civil day from First
// on, gaps kept as gaps. It is all that the engine reads of the log. A window
// is shared between readers: never write to one that you did not make.
type Window struct {
	First Day
	Days  []WindowDay // Days[i] is day First+i

	Lifts   []LiftDay        // ascending by day, then lift
	BodyFat []BodyFatReading // ascending by day
	Tapes   []TapeReading    // ascending by day
}

// WindowDay is one civil day, rolled up from its entries.
type WindowDay struct {
	WeightKg     Opt // the day's first reading
	Readings     int // weigh-ins of the day
	IntakeKcal   Opt // known only when the day's log is complete
	ProteinG     Opt // known only when every intake entry of a complete day has it
	Steps        Opt
	ActivityKcal Opt // net of rest
	Marks        MarkSet
	HasPhotos    bool
	RefeedKcal   Opt // the refeed's own target
	CheckIn      CheckIn
}

// IsEmpty reports whether nothing at all is known of the day.
func (d WindowDay) IsEmpty() bool { return d == WindowDay{} }

// MarkSet is a set of MarkKind.
type MarkSet uint16

// Has reports whether the set holds m.
func (s MarkSet) Has(m MarkKind) bool { return s&(1<<m) != 0 }

// With returns the set with m added.
func (s MarkSet) With(m MarkKind) MarkSet { return s | 1<<m }

// LiftDay is what one lift showed on one day.
type LiftDay struct {
	Day      Day
	Lift     string
	BestE1RM Opt // kg; the day's best estimated one-repetition maximum, unknown beyond the estimate's domain
	Sets     int
	HardSets int // sets with at most 4 repetitions in reserve, or with reserve not recorded
}

// BodyFatReading is a dated body-fat percentage.
type BodyFatReading struct {
	Day Day
	BodyFat
}

// TapeReading is a dated set of circumferences.
type TapeReading struct {
	Day Day
	Tape
}

// End returns the day after the last row.
func (w Window) End() Day { return w.First + Day(len(w.Days)) }

// At returns the row of a day; outside the window it is empty.
func (w Window) At(d Day) WindowDay {
	if d < w.First || d >= w.End() {
		return WindowDay{}
	}
	return w.Days[d-w.First]
}

// Between returns the part of the window from from up to and without to. It
// shares memory with w.
func (w Window) Between(from, to Day) Window {
	from = max(from, w.First)
	to = max(min(to, w.End()), from)
	out := Window{First: from}
	if from < w.End() {
		out.Days = w.Days[from-w.First : to-w.First]
	}
	for i, l := range w.Lifts {
		if l.Day >= from {
			j := i
			for j < len(w.Lifts) && w.Lifts[j].Day < to {
				j++
			}
			out.Lifts = w.Lifts[i:j]
			break
		}
	}
	for _, b := range w.BodyFat {
		if b.Day >= from && b.Day < to {
			out.BodyFat = append(out.BodyFat, b)
		}
	}
	for _, t := range w.Tapes {
		if t.Day >= from && t.Day < to {
			out.Tapes = append(out.Tapes, t)
		}
	}
	return out
}
