package strength

import (
	"math"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/trend"
)

// Fewer or closer sessions make no trend worth telling: our thresholds, common
// practice, no source. Five are what the interval needs to leave out a session
// on each side.
const (
	minTrendSessions = 5
	minTrendDays     = 14
	trendLevel       = 0.80
	// grain is how finely a session shows strength, as a share of it: half a
	// repetition by Epley's formula. Equal sessions do not mean that nothing
	// moved.
	grain = 0.5 / 30
)

// LiftTrend is how fast a lift's estimated one-repetition maximum moves, in % a
// week; positive is stronger. The numbers are unknown where Why says so.
type LiftTrend struct {
	PctPerWeek     engine.Opt
	LowPctPerWeek  engine.Opt // 80 % interval
	HighPctPerWeek engine.Opt
	Sessions       int // days with an estimate
	Why            Reason
}

// TrendOf fits the trend of one lift through its sessions, of which those
// without an estimate do not count:
//
//	b = Theil-Sen slope of ln e1RM over days
//	% a week = 100 (exp(7 b) - 1)
//
// Percent, so that lifts of different weight compare, hence the logarithm. The
// Theil-Sen slope, because sessions are off to one side, by a bad day or a set
// stopped early, and because a wrong entry must not make a trend. The 80 %
// interval is Sen's, and never narrower than half a repetition over the time
// from the first session to the last.
//
// It needs 5 sessions over 14 days.
func TrendOf(sessions []engine.LiftDay) LiftTrend {
	var room [2][trendDays]float64 // as many as a report asks for
	days, logs := room[0][:0], room[1][:0]
	for i := range sessions {
		if s := &sessions[i]; isEstimate(s.BestE1RM) {
			days, logs = append(days, float64(s.Day)), append(logs, math.Log(s.BestE1RM.V))
		}
	}
	t := LiftTrend{Sessions: len(days)}
	switch {
	case len(days) == 0:
		t.Why = NoEstimate
		return t
	case len(days) < minTrendSessions:
		t.Why = TooFewSessions
		return t
	}
	span := slices.Max(days) - slices.Min(days)
	if span < minTrendDays {
		t.Why = TooShort
		return t
	}
	line, ok := trend.TheilSen(days, logs)
	low, high, okInterval := line.SlopeInterval(trendLevel)
	if !ok || !okInterval {
		t.Why = TooFewSessions // so many sessions on one day
		return t
	}
	least := grain / span
	t.PctPerWeek = pctPerWeek(line.Slope)
	t.LowPctPerWeek = pctPerWeek(min(low, line.Slope-least))
	t.HighPctPerWeek = pctPerWeek(max(high, line.Slope+least))
	return t
}

func pctPerWeek(logPerDay float64) engine.Opt { return engine.Some(100 * math.Expm1(7*logPerDay)) }

// isEstimate reports whether an estimate can be one: 0.1..1000 kg, our range.
func isEstimate(o engine.Opt) bool { return o.OK && o.V >= 0.1 && o.V <= 1000 }
