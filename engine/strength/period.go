package strength

import "example.com/steelyard/engine"

// Period is a range of civil days: From is in it, To is not.
type Period struct{ From, To engine.Day }

func (p Period) days() int { return int(p.To - p.From) }

func (p Period) has(d engine.Day) bool { return d >= p.From && d < p.To }

// The stretches of a log that are compared: our choice, common practice, no
// source. Four weeks of training before a cut are what its strength is held
// against; two weeks hold a round or two of every lift; eight weeks are long
// enough to see a trend in lifts that differ by some percent from day to day.
const (
	baselineDays = 28
	recentDays   = 14
	trendDays    = 56
)

// baselineOf returns the weeks before the day a cut began.
func baselineOf(cut engine.Day) Period { return Period{From: cut - baselineDays, To: cut} }

// recentOf returns the last two weeks that are over, no day of them before the
// cut.
func recentOf(asOf, cut engine.Day) Period { return Period{From: max(asOf-recentDays, cut), To: asOf} }
