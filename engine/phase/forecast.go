package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// Pace is how fast an outlook goes. Stored: never reorder.
type Pace uint8

// Paces.
const (
	PaceUnspecified Pace = iota
	Gentle               // the lower edge of the plan's band
	Standard             // what the plan aims at
	Brisk                // the upper edge of the band
)

// Outlooks say how long a plan takes. What is not known is absent.
type Outlooks struct {
	AsOf     engine.Day
	Goal     Goal      // zero for a trainee whom a safety rule refers
	Outlooks []Outlook // gentle, standard, brisk; empty when WhyNot says why
	WhyNot   string    // a sentence
	Cautions []Caution // never empty
	Findings []Finding
}

// Outlook is the way to the goal at one pace. The pace is the plan's wish: how
// fast a trainee gets there hangs on what is eaten, so that the days are a range.
type Outlook struct {
	Pace           Pace
	PacePctPerWeek float64 // % of body weight a week; never over 1 kg a week at the present weight

	// The day on which the goal is met: with a probability of 10, 50 and 90 %.
	// Unknown where that is not reached within two years.
	Earliest, Median, Latest engine.OptDay

	// What the pace asks for when the deficit begins (today in a cut, after a test or a break that is still on), and on
	// the day when the central course meets the goal (or when it is clear that it
	// does not within two years). Never
	// under the floor of the time, and never more activity than the plan's cap.
	// The intake is the mean of the days, refeeds included.
	TargetNow, TargetAtGoal engine.Target
	// FloorDay is the first day of the central course on which the floor and the
	// cap allow less than the pace asks for: from there on it goes slower.
	FloorDay engine.OptDay

	WeightAtGoalKg float64    // trend weight
	LeanSharePct   engine.Opt // of the loss, % of its mass, on the Forbes curve; unknown when body fat is neither measured nor can be estimated
}

// Forecast says how long the plan takes from the morning of asOf at a gentle
// (the band's lower edge), the plan's and a brisk pace (its upper edge), none of
// them over 1 kg a week. Like Recommend it reads nothing later than that morning.
//
// Every day the trainee is asked for the intake that makes the pace, given what
// the dynamic model of body weight then spends (physiology.BodyModel), held to
// the floor of the time; see forecaster, course and outlook for the parts.
func Forecast(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Outlooks {
	f := newFacts(w, p, plan, asOf)
	o := Outlooks{AsOf: asOf, Cautions: forecastCautions(f)}
	if o.WhyNot, o.Findings = f.mayNotForecast(); o.WhyNot != "" {
		return o
	}
	o.Goal = f.goal()
	if o.WhyNot, o.Findings = f.cannotForecast(o.Goal); o.WhyNot != "" {
		return o
	}
	fc, ok := f.forecaster(o.Goal)
	if ok {
		o.Outlooks, ok = fc.outlooks()
	}
	if !ok {
		o.WhyNot, o.Findings = noForecast(CodeBodyNotCovered, "The model of the body does not cover this height, weight, age and maintenance.")
		return o
	}
	o.Findings = append(fc.findings(o.Outlooks), paceCapped(f, engine.StartDeficit)...)
	return o
}

func noForecast(code Code, sentence string) (string, []Finding) {
	return sentence, []Finding{{Code: code, Severity: Info, Sentence: sentence}}
}

// mayNotForecast says why there may be no deficit, and so no forecast: a closed
// plan, a safety rule, an unfinished profile, a plan that cannot be followed, one
// whose deficit is over.
func (f *facts) mayNotForecast() (string, []Finding) {
	if f.stage == Closed {
		return noForecast(CodeClosed, "The plan is closed.")
	}
	if found := f.safetyFindings(); len(found) > 0 {
		return found[0].Sentence + " No forecast is given: please ask a doctor or another licensed professional first.", found
	}
	for _, ask := range [...]func(*facts) (verdict, bool){profileIncomplete, planNotValid, finished} {
		if v, ok := ask(f); ok {
			return v.findings[0].Sentence, v.findings
		}
	}
	if f.stage == Returning {
		return noForecast(CodeDeficitOver, "The plan is on its way back to maintenance; nothing more is to be lost.")
	}
	return "", nil
}

// cannotForecast says what a forecast lacks.
func (f *facts) cannotForecast(goal Goal) (string, []Finding) {
	switch e := f.estimate; {
	case goal.Kind == GoalNone:
		return noForecast(CodeNoGoal, goal.Sentence)
	case e == nil:
		return noForecast(CodeNoEstimate, "Three morning weights between 30 and 200 kg are needed before anything can be said.")
	case !goal.WeightKg.OK:
		return noForecast(CodeGoalNotMeasured, goal.Sentence)
	case e.TrendWeightKg <= goal.WeightKg.V:
		return noForecast(CodeGoalReached, fmt.Sprintf("The trend of %.1f kg has reached the goal of %.1f kg.", e.TrendWeightKg, goal.WeightKg.V))
	}
	return "", nil
}

// forecastCautions are the general ones and the forecast's own.
func forecastCautions(f *facts) []Caution {
	return append(cautionsFor(f),
		Caution{CodeRangeNotDate, "A forecast is a range and not a date: four in five land within it if all goes on as assumed."},
		Caution{CodeAsLogged, "It says what would follow at what was logged and asked for, not what will happen."},
		Caution{CodeSlopeFades, "Real people's loss slows with the months, mostly because eating creeps up; a forecast far ahead is likely to be too early."},
		Caution{CodeLeanShareUnsure, "The lean share of the loss is that of ordinary dieters. Training and protein make it smaller, and one person may differ much."},
	)
}

// findings say what is worth knowing of the outlooks.
func (fc *forecaster) findings(outlooks []Outlook) []Finding {
	var found []Finding
	if !fc.fat.isMeasured {
		found = append(found, Finding{
			Code: CodeFatNotMeasured, Severity: Info,
			Sentence: "Body fat is not measured. It is guessed from the body mass index, which takes muscle for fat.",
		})
	}
	for _, o := range outlooks {
		if o.Pace != Standard {
			continue
		}
		if o.FloorDay.OK {
			found = append(found, Finding{
				Code: CodeFloorAhead, Severity: Notice, Day: o.FloorDay,
				Sentence: fmt.Sprintf("About %s the plan's pace would ask for less than the floor and the activity limit allow; from there on it goes slower.", o.FloorDay.Day),
			})
		}
		if !o.Latest.OK {
			found = append(found, Finding{
				Code: CodeLatestNotForeseen, Severity: Notice,
				Sentence: "At the plan's pace it is not nearly sure that the goal is met within two years.",
			})
		}
	}
	return found
}
