package phase

import "example.com/steelyard/engine"

// Intake is far under the floor when the mean of the last logged days is under
// this share of it: a log is never complete, and a few light days are no reason
// to worry. Our own threshold, common practice, no source.
const (
	farUnderFloorShare = 0.85
	farUnderFloorDays  = 7 // logged
)

// licensed ends every line about a caution.
const licensed = " Local rules and licensed practice come first."

// dueCautions returns what should be talked about before anything else: the
// safety rules that need no estimate, and an intake far under the floor. A line
// does not say which state of health or which sign it is: a list of many people
// lies open more easily than one recommendation, and that one says it.
func (f *facts) dueCautions() []Due {
	var due []Due
	add := func(from engine.Day, until engine.OptDay, line string) {
		due = append(due, Due{Reason: DueCaution, From: from, Until: until, Line: line + licensed})
	}
	if last, minor := f.lastDayUnderage(); minor {
		add(f.plan.Start, last, "The plan does not suit the age in the profile: please pause it and bring in a doctor or another licensed professional.")
	}
	if _, ok := declaredCondition(f); ok {
		add(f.plan.Start, engine.OptDay{}, "The profile has something that belongs in professional hands: please bring in a doctor before the plan goes on.")
	}
	if _, ok := underweight(f); ok {
		add(f.since(underweight), engine.OptDay{}, "Losing more weight is not something to plan now: please bring in a doctor or a dietitian.")
	}
	_, isLow := goalUnderweight(f)
	_, isLean := goalTooLean(f) // without an estimate, only what needs none
	if isLow || isLean {
		add(f.plan.Start, engine.OptDay{}, "The goal of the plan is too low: please choose another together with someone qualified.")
	}
	if x, ok := warningSign(f); ok {
		add(x.Day.Day, engine.SomeDay(x.Day.Day+warningSignDays-1), "A warning sign was logged on "+x.Day.Day.String()+": please stop the deficit and suggest to see a doctor.")
	}
	if x, ok := referralRecorded(f); ok {
		add(x.Day.Day, engine.OptDay{}, "A referral is on record: please ask kindly whether a doctor or another licensed professional was seen.")
	}
	if since, last, ok := f.farUnderFloor(); ok {
		add(since, engine.SomeDay(last+DueDays-1), "The logged intake is far below what is safe without supervision: please ask how eating goes, whether all of it is logged, and suggest a doctor or a dietitian.")
	}
	return due
}

// lastDayUnderage returns the eve of the birthday from which a deficit may be
// computed, and false when the plan begins later.
func (f *facts) lastDayUnderage() (engine.OptDay, bool) {
	g := *f
	g.asOf = f.plan.Start
	if _, minor := underage(&g); !minor {
		return engine.OptDay{}, false
	}
	year, month, day := f.profile.BirthDate.Day.Date()
	of, ok := engine.DayOf(year+minAge, month, day)
	if !ok { // born on 29 February
		of, ok = engine.DayOf(year+minAge, 3, 1)
	}
	return engine.OptDay{Day: of - 1, OK: ok}, true
}

// since returns the first day of the window from which a rule that holds now has
// held without a break.
func (f *facts) since(rule func(*facts) (Finding, bool)) engine.Day {
	g := *f
	since := f.asOf
	for d := f.asOf; d >= f.window.First; d-- {
		g.asOf, g.window.Days = d, f.window.Days[:d-f.window.First+1]
		g.weightKg = presentWeight(g.window)
		if _, holds := rule(&g); !holds {
			break
		}
		since = d
	}
	return since
}

// farUnderFloor reports whether the mean of the last logged days is far under the
// built-in floor; since when, and the last of them.
func (f *facts) farUnderFloor() (since, last engine.Day, ok bool) {
	maintenance := engine.Opt{}
	if f.weightKg.OK {
		if g, known := guess(f.profile, f.weightKg.V, f.asOf); known {
			maintenance = engine.Some(g.TrackedKcal())
		}
	}
	least := farUnderFloorShare * floor(f.profile, f.weightKg, f.asOf, maintenance, engine.Opt{}).Or(floorLeastKcal)
	var kcal [farUnderFloorDays]float64
	n, sum := 0, 0.0
	for i, d := range f.window.Days {
		if !d.IntakeKcal.OK {
			continue
		}
		sum += d.IntakeKcal.V - kcal[n%farUnderFloorDays]
		kcal[n%farUnderFloorDays] = d.IntakeKcal.V
		n++
		last = f.window.First + engine.Day(i)
		switch isUnder := n >= farUnderFloorDays && sum < least*farUnderFloorDays; {
		case isUnder && !ok:
			since, ok = last, true
		case !isUnder:
			ok = false
		}
	}
	return since, last, ok
}
