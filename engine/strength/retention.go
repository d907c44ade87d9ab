package strength

import (
	"slices"

	"example.com/steelyard/engine"
)

// minRetentionSessions in each period: our threshold, common practice, no source.
const minRetentionSessions = 2

// Retention is what is left of a lift's strength since a baseline. The numbers
// are unknown where Why says so. One bad week moves it by some percent: read it
// beside the trend.
type Retention struct {
	Pct              engine.Opt // recent level over baseline level
	BaselineE1RMKg   engine.Opt // median of the sessions' best estimates
	RecentE1RMKg     engine.Opt
	BaselineSessions int
	RecentSessions   int
	Why              Reason
}

// RetentionOf compares the sessions of one lift in two periods:
//
//	% = 100 median(recent e1RM)/median(baseline e1RM)
//
// with at least two sessions that have an estimate in each. Medians, so that
// neither one record nor one wrong entry stands for a period.
func RetentionOf(sessions []engine.LiftDay, baseline, recent Period) Retention {
	var room [baselineDays + recentDays]float64 // as many sessions as there are, as a rule
	before, now := room[:0:baselineDays], room[baselineDays:baselineDays]
	for i := range sessions {
		s := &sessions[i]
		switch {
		case !isEstimate(s.BestE1RM):
		case baseline.has(s.Day):
			before = append(before, s.BestE1RM.V)
		case recent.has(s.Day):
			now = append(now, s.BestE1RM.V)
		}
	}
	r := Retention{BaselineSessions: len(before), RecentSessions: len(now)}
	switch {
	case len(before) < minRetentionSessions:
		r.Why = TooFewBaselineSessions
	case len(now) < minRetentionSessions:
		r.Why = TooFewRecentSessions
	default:
		from, to := median(before), median(now)
		r.BaselineE1RMKg, r.RecentE1RMKg, r.Pct = engine.Some(from), engine.Some(to), engine.Some(100*to/from)
	}
	return r
}

// median sorts v, which must not be empty.
func median(v []float64) float64 {
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
