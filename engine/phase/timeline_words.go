package phase

import (
	"fmt"
	"math"
	"strings"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// beginWords says how the plan begins.
func (f *facts) beginWords(begins string) string {
	if f.plan.SkipMaintenanceTest {
		return "The plan " + begins + "."
	}
	return fmt.Sprintf("The plan %s, with about %d days at maintenance as a test.", begins, testDays)
}

// whenWords follow what is due: "is due on 2026-03-01".
func (f *facts) whenWords(day engine.Day) string {
	switch {
	case day > f.asOf:
		return "is due on " + day.String()
	case day == f.asOf:
		return "is due today"
	}
	return "has been due since " + day.String()
}

// decisionWords say what was decided, what it changed and who decided it.
func decisionWords(before []engine.Decision, d engine.Decision) string {
	words := actionWords(before, d.Action)
	if now, ok := heldTarget(d); ok {
		was, hadOne := engine.Target{}, false
		if len(before) > 0 {
			was, hadOne = heldTarget(before[len(before)-1])
		}
		if hadOne {
			words += ": " + movedWords(was, now)
		} else {
			words += ": " + heldWords(now)
		}
	}
	words += "."
	if by := strings.TrimSpace(d.By); by != "" {
		words += " Decided by " + strings.TrimSuffix(by, ".") + "."
	}
	return words
}

// heldTarget is the target that a decision set; false for a referral, after
// which there is none, and for numbers that no day has.
func heldTarget(d engine.Decision) (engine.Target, bool) {
	if d.Action == engine.Refer || !balance.IsTarget(d.Target) {
		return engine.Target{}, false
	}
	return d.Target, true
}

func actionWords(before []engine.Decision, a engine.Action) string {
	again := false
	for _, d := range before {
		again = again || d.Action == a
	}
	switch a {
	case engine.KeepLogging:
		return "Logging goes on"
	case engine.StartDeficit:
		if again {
			return "The cut goes on"
		}
		return "The cut begins"
	case engine.Hold:
		return "The course is kept"
	case engine.LowerBalance:
		return "The energy balance is lowered"
	case engine.RaiseBalance:
		return "The energy balance is raised"
	case engine.MeetTarget:
		return "The aim is to meet the target before changing it"
	case engine.AddBaseActivity:
		return "A small base of activity is added"
	case engine.ChangeRefeeds:
		return "The refeeds change"
	case engine.Ease:
		return "The pace is eased"
	case engine.TakeBreak:
		return "A diet break is taken"
	case engine.ReturnToMaintenance:
		return "The way back to maintenance is taken"
	case engine.Finish:
		return "The plan is finished"
	case engine.Refer:
		return "The plan waits: please ask a doctor or another licensed professional first"
	}
	return "A decision was recorded"
}

// heldWords say a target: "intake 2100 kcal a day, activity 125 kcal a day".
func heldWords(t engine.Target) string {
	words := fmt.Sprintf("intake %.0f kcal a day", t.IntakeKcal)
	if t.ActivityKcal > 0 {
		words += fmt.Sprintf(", activity %.0f kcal a day", t.ActivityKcal)
	}
	if t.Refeed.EveryDays > 0 {
		words += ", " + cadenceWords(t.Refeed)
	}
	return words
}

// movedWords say what is new in a target.
func movedWords(was, now engine.Target) string {
	var parts []string
	change := func(what string, was, now float64) {
		if math.Round(was) != math.Round(now) {
			parts = append(parts, fmt.Sprintf("%s from %.0f to %.0f kcal a day", what, was, now))
		}
	}
	change("intake", was.IntakeKcal, now.IntakeKcal)
	change("activity", was.ActivityKcal, now.ActivityKcal)
	switch hadRefeeds := was.Refeed.EveryDays > 0; {
	case was.Refeed == now.Refeed:
	case now.Refeed.EveryDays > 0 && hadRefeeds:
		parts = append(parts, cadenceWords(now.Refeed)+" in place of "+cadenceWords(was.Refeed))
	case now.Refeed.EveryDays > 0:
		parts = append(parts, cadenceWords(now.Refeed))
	case hadRefeeds:
		parts = append(parts, "no more refeeds")
	}
	if len(parts) == 0 {
		return "the target stays as it is"
	}
	return strings.Join(parts, ", ")
}

func cadenceWords(r engine.Refeed) string {
	return fmt.Sprintf("a refeed of %.0f kcal every %d days", r.IntakeKcal, r.EveryDays)
}
