package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// refeedsWait says why refeeds that the calendar would allow are not proposed.
func refeedsWait(f *facts, decided engine.Action) []Finding {
	if f.estimate == nil || !ReviewDue(f.plan, f.asOf) {
		return nil
	}
	if _, isDue := f.refeedsDue(); !isDue {
		return nil
	}
	sentence := ""
	switch decided {
	case engine.LowerBalance, engine.RaiseBalance, engine.MeetTarget, engine.Ease:
		sentence = "Refeeds wait until the loss is back on track."
	case engine.Hold:
		_, sentence = f.proposeRefeeds()
	}
	if sentence == "" {
		return nil
	}
	return []Finding{{Code: CodeRefeedsWait, Severity: Info, Sentence: sentence}}
}

// breakOffered offers a diet break after twelve weeks of cut, and every four
// weeks from then.
func breakOffered(f *facts, decided engine.Action) []Finding {
	day := f.cutDay()
	if day < longCutDays || (day-longCutDays)%pictureDays >= reviewDays || f.estimate == nil || decided == engine.TakeBreak {
		return nil
	}
	kcal, _ := f.estimate.HoldingIntake(f.present.ActivityKcal)
	return []Finding{{
		Code: CodeBreakOffered, Severity: Info,
		Sentence: fmt.Sprintf("The cut has run for %d weeks. A break of 7 to 14 days at about %.0f kcal a day is fine now; it helps hunger, not speed.", day/7, kcal),
		Numbers:  []Number{{"cut_days", float64(day), "d"}, {"maintenance_kcal", kcal, "kcal/d"}},
	}}
}

// askFirstMonth brings up the first-month question until it is answered.
func askFirstMonth(f *facts, _ engine.Action) []Finding {
	day := f.cutDay()
	if day < slogDays || day >= slogDays+strainDays || f.arc.firstCut != f.arc.cut || f.strain().WasSlog != engine.Unanswered || f.arc.eased.OK {
		return nil
	}
	return []Finding{{
		Code: CodeAskSlog, Severity: Notice,
		Sentence: "The first month of the cut is over: was it a slog? If so, it went too fast, and a check-in that says so slows it down.",
	}}
}

// picturesDue asks for pictures at the start and about every four weeks: the
// mirror and the numbers can disagree for a while.
func picturesDue(f *facts, _ engine.Action) []Finding {
	if f.asOf < f.plan.Start || f.stage == Finished || f.stage == Closed {
		return nil
	}
	last := engine.OptDay{}
	for d := max(f.plan.Start-reviewDays, f.window.First); d <= f.asOf; d++ {
		if f.row(d).HasPhotos {
			last = engine.SomeDay(d)
		}
	}
	sentence := "Take a set of pictures at the start: the mirror and the numbers can disagree for a while."
	if last.OK {
		if f.asOf < last.Day+pictureDays {
			return nil
		}
		sentence = fmt.Sprintf("The last pictures are of %s; about every four weeks is usual.", last.Day)
	}
	return []Finding{{Code: CodePicturesDue, Severity: Info, Day: last, Sentence: sentence}}
}

// weighLessOften says, in the review around day 30 of the cut, that every other
// day is enough from here on.
func weighLessOften(f *facts, _ engine.Action) []Finding {
	if day := f.cutDay(); day < weighInCadenceDays || day >= weighInCadenceDays+reviewDays || f.arc.firstCut != f.arc.cut {
		return nil
	}
	return []Finding{{
		Code: CodeWeighLessOften, Severity: Info,
		Sentence: "Weighing every other day is enough from here on; every day does no harm.",
	}}
}

// goalNotMeasured says at a review what a body-fat goal lacks.
func goalNotMeasured(f *facts, _ engine.Action) []Finding {
	if !f.plan.GoalBodyFatPct.OK || f.estimate == nil || !ReviewDue(f.plan, f.asOf) {
		return nil
	}
	if kg, _ := f.fatGoal(f.bodyFat()); kg.OK {
		return nil
	}
	_, measured := f.bodyFat()
	return []Finding{{Code: CodeGoalNotMeasured, Severity: Notice, Sentence: f.cannotJudgeFat(measured)}}
}
