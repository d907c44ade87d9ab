package strength

import "example.com/steelyard/engine"

// minVolumeDays is the least part of a period that says something about a week.
const minVolumeDays = 7

// Volume is hard sets a week, now and in a baseline. The numbers are unknown
// where Why says so.
type Volume struct {
	PerWeek         engine.Opt
	BaselinePerWeek engine.Opt
	Pct             engine.Opt // now over baseline; unknown also where the baseline has none
	Why             Reason
}

// VolumeOf compares the hard sets of lift days in two periods, those of one
// lift or of several together:
//
//	sets a week = 7 sum of hard sets/days of the period
//
// Both periods are cut at loggedFrom, the first day on which any lift was
// logged: the days before say nothing. At least seven days must be left of each.
// What is not logged counts as not done.
func VolumeOf(days []engine.LiftDay, baseline, recent Period, loggedFrom engine.Day) Volume {
	before, now := sinceLogged(baseline, loggedFrom), sinceLogged(recent, loggedFrom)
	switch {
	case before.days() < minVolumeDays:
		return Volume{Why: TooShortBaseline}
	case now.days() < minVolumeDays:
		return Volume{Why: TooShort}
	}
	v := Volume{PerWeek: setsPerWeek(days, now), BaselinePerWeek: setsPerWeek(days, before)}
	if v.BaselinePerWeek.V > 0 {
		v.Pct = engine.Some(100 * v.PerWeek.V / v.BaselinePerWeek.V)
	}
	return v
}

func sinceLogged(p Period, day engine.Day) Period { return Period{From: max(p.From, day), To: p.To} }

func setsPerWeek(days []engine.LiftDay, p Period) engine.Opt {
	sets := 0
	for i := range days {
		if p.has(days[i].Day) {
			sets += days[i].HardSets
		}
	}
	return engine.Some(7 * float64(sets) / float64(p.days()))
}
