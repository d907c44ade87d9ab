package phase

import (
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// note looks for something worth saying that decides nothing. It knows what was
// decided.
type note struct {
	name string
	find func(f *facts, decided engine.Action) []Finding
}

func notes() [17]note {
	return [...]note{
		{"readings-refused", readingsRefused},
		{"readings-doubtful", readingsDoubtful},
		{"water-after-change", waterAfterChange},
		{"refeed-water", refeedWater},
		{"log-gap", logGap},
		{"eating-under-floor", eatingUnderFloor},
		{"weekend-pattern", weekendPattern},
		{"protein-low", proteinLow},
		{"pace-capped", paceCapped},
		{"pace-eased", paceEased},
		{"goal-not-measured", goalNotMeasured},
		{"stable-weeks", stableWeeks},
		{"refeeds-wait", refeedsWait},
		{"break-offered", breakOffered},
		{"ask-first-month", askFirstMonth},
		{"pictures-due", picturesDue},
		{"weigh-less-often", weighLessOften},
	}
}

// readingDays is how far back a refused or doubtful reading is brought up.
const readingDays = 14

// readingsRefused asks to confirm the readings that were not used.
func readingsRefused(f *facts, _ engine.Action) []Finding {
	var found []Finding
	for d := f.asOf - readingDays + 1; d <= f.asOf; d++ {
		s, ok := f.state(d)
		if !ok || s.Refused == balance.ReasonNone {
			continue
		}
		kg := f.row(d).WeightKg.V
		found = append(found, Finding{
			Code: CodeReadingRefused, Severity: Notice, Day: engine.SomeDay(d),
			Sentence: fmt.Sprintf("The reading of %.1f kg on %s was not used: it %s. Please confirm or correct it.", kg, d, s.Refused),
			Numbers:  []Number{{"weight_kg", kg, "kg"}},
		})
	}
	return found
}

// readingsDoubtful asks about readings that were used but lie far off.
func readingsDoubtful(f *facts, _ engine.Action) []Finding {
	var found []Finding
	for d := f.asOf - readingDays + 1; d <= f.asOf; d++ {
		if s, ok := f.state(d); ok && s.IsDoubtful {
			kg := f.row(d).WeightKg.V
			found = append(found, Finding{
				Code: CodeReadingDoubtful, Severity: Info, Day: engine.SomeDay(d),
				Sentence: fmt.Sprintf("The reading of %.1f kg on %s lies far from the days around it. It counts for less; please check it.", kg, d),
				Numbers:  []Number{{"weight_kg", kg, "kg"}},
			})
		}
	}
	return found
}

// waterAfterChange explains the first three mornings after a change of intake.
func waterAfterChange(f *facts, _ engine.Action) []Finding {
	from := f.intakeChange()
	if !from.OK || f.asOf > from.Day+waterDays {
		return nil
	}
	return []Finding{{
		Code: CodeWaterDays, Severity: Info, Day: from,
		Sentence: fmt.Sprintf("The intake changed on %s. What the scale shows in the first %d days is mostly water.", from.Day, waterDays),
	}}
}

// refeedDays is how long a refeed shows on the scale: common practice, no source.
const refeedDays = 3

// refeedWater explains the mornings after a refeed.
func refeedWater(f *facts, _ engine.Action) []Finding {
	for d := f.asOf; d >= f.asOf-refeedDays; d-- {
		if f.row(d).Marks.Has(engine.MarkRefeed) {
			return []Finding{{
				Code: CodeRefeedWater, Severity: Info, Day: engine.SomeDay(d),
				Sentence: fmt.Sprintf("There was a refeed on %s. The scale may be up for about %d days with water; the trend is what counts.", d, refeedDays),
			}}
		}
	}
	return nil
}

// gapDays without anything logged, among the last 14, are a gap.
const gapDays = 3

// logGap tells the longest stretch of the last 14 days with neither a reading
// nor a log. Today is not over and does not count.
func logGap(f *facts, _ engine.Action) []Finding {
	first, ok := f.firstEntry()
	if !ok {
		return nil
	}
	run, longest, from := 0, 0, engine.Day(0)
	for d := max(first, f.asOf-14); d < f.asOf; d++ {
		if row := f.row(d); row.WeightKg.OK || row.IntakeKcal.OK {
			run = 0
			continue
		}
		if run++; run > longest {
			longest, from = run, d-engine.Day(run)+1
		}
	}
	if longest < gapDays {
		return nil
	}
	return []Finding{{
		Code: CodeLogGap, Severity: Info, Day: engine.SomeDay(from),
		Sentence: fmt.Sprintf("Nothing is logged for %d days from %s. That is fine; it only makes the picture less sharp.", longest, from),
		Numbers:  []Number{{"days", float64(longest), "d"}},
	}}
}

// eatingUnderFloor speaks up when the logged days of the last week are, on
// average, under the floor: whatever the target says, that is too little.
func eatingUnderFloor(f *facts, _ engine.Action) []Finding {
	var sum, n float64
	for d := f.asOf - 7; d < f.asOf; d++ {
		if in := f.row(d).IntakeKcal; in.OK {
			sum += in.V
			n++
		}
	}
	if n < leastLogged7 || !f.floorKcal.OK || sum/n >= f.floorKcal.V {
		return nil
	}
	return []Finding{{
		Code: CodeEatingUnderFloor, Severity: Warning,
		Sentence: fmt.Sprintf("The logged days of the last week average %.0f kcal, under the floor of %.0f. If the log is complete, please eat more.", sum/n, f.floorKcal.V),
		Numbers:  []Number{{"mean_logged_kcal", sum / n, "kcal/d"}, {"floor_kcal", f.floorKcal.V, "kcal/d"}},
	}}
}

// paceCapped says when 1 kg a week is less than the plan's pace.
func paceCapped(f *facts, _ engine.Action) []Finding {
	if !(f.pace < f.plan.PacePctPerWeek) || f.arc.eased.OK {
		return nil
	}
	return []Finding{{
		Code: CodePaceCapped, Severity: Info,
		Sentence: fmt.Sprintf("The plan's pace of %.2f %% a week would be over 1 kg a week; %.2f %% is aimed at instead.", f.plan.PacePctPerWeek, f.pace),
		Numbers:  []Number{{"pace_pct_per_week", f.pace, "%/week"}},
	}}
}
