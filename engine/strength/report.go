package strength

import (
	"cmp"
	"slices"

	"example.com/steelyard/engine"
)

// Report is how strength and training volume hold up. It reports; it
// prescribes nothing.
type Report struct {
	Lifts    []LiftReport // ascending by name
	HardSets Volume       // of all lifts together
}

// LiftReport is the part of a report about one lift.
type LiftReport struct {
	Lift         string
	LatestE1RMKg engine.Opt // of the last day with an estimate, and that day
	LatestDay    engine.OptDay
	Trend        LiftTrend // over the last eight weeks
	Retention    Retention
	HardSets     Volume
}

// Judge reports on the lifts of a window as of a day: each lift's trend over the
// last eight weeks, and its strength and hard sets of the last two weeks
// against the four weeks before the cut, whose first day cut is (unknown when
// none has begun by asOf). asOf itself counts for the trend, and not for the
// last two weeks: it is not over.
func Judge(w engine.Window, asOf engine.Day, cut engine.OptDay) Report {
	end, _ := slices.BinarySearchFunc(w.Lifts, asOf+1, func(l engine.LiftDay, d engine.Day) int { return cmp.Compare(l.Day, d) })
	known := w.Lifts[:end]
	names := make([]string, 0, 8) // few have more
	times := make([]int, 0, 8)    // that each is there
	for i := range known {
		at := slices.Index(names, known[i].Lift)
		if at < 0 {
			at = len(names)
			names, times = append(names, known[i].Lift), append(times, 0)
		}
		times[at]++
	}
	if len(known) == 0 {
		return Report{HardSets: Volume{Why: NothingLogged}}
	}
	if cut.OK && cut.Day > asOf {
		cut.OK = false
	}
	j := judge{asOf: asOf, cut: cut, loggedFrom: known[0].Day}
	for i := range known {
		j.isLogging = j.isLogging || known[i].Day >= asOf-recentDays && known[i].Day < asOf
	}
	r := Report{Lifts: make([]LiftReport, 0, len(names)), HardSets: j.volume(known)}
	slices.Sort(names)
	sessions := make([]engine.LiftDay, 0, slices.Max(times))
	for _, name := range names {
		sessions = sessions[:0]
		for i := range known {
			if known[i].Lift == name {
				sessions = append(sessions, known[i])
			}
		}
		r.Lifts = append(r.Lifts, j.lift(name, sessions))
	}
	return r
}

// judge is what the parts of a report share.
type judge struct {
	asOf       engine.Day
	cut        engine.OptDay
	loggedFrom engine.Day // the first lift
	isLogging  bool       // any lift in the last two weeks that are over
}

func (j judge) lift(name string, sessions []engine.LiftDay) LiftReport {
	l := LiftReport{Lift: name, HardSets: j.volume(sessions)}
	before := 0 // the weeks of the trend; the sessions ascend
	for i := range sessions {
		s := &sessions[i]
		if isEstimate(s.BestE1RM) {
			l.LatestE1RMKg, l.LatestDay = s.BestE1RM, engine.SomeDay(s.Day)
		}
		if s.Day <= j.asOf-trendDays {
			before = i + 1
		}
	}
	l.Trend = TrendOf(sessions[before:])
	if l.Retention.Why = NoCut; j.cut.OK {
		l.Retention = RetentionOf(sessions, baselineOf(j.cut.Day), recentOf(j.asOf, j.cut.Day))
	}
	return l
}

func (j judge) volume(days []engine.LiftDay) Volume {
	switch {
	case !j.cut.OK:
		return Volume{Why: NoCut}
	case !j.isLogging:
		return Volume{Why: NothingLogged}
	}
	return VolumeOf(days, baselineOf(j.cut.Day), recentOf(j.asOf, j.cut.Day), j.loggedFrom)
}
