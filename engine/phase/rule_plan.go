package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// planNotValid follows no plan that would be refused if it were made today, or
// whose target in force is impossible.
// The weight is left out: a goal that was reached does not make a plan wrong.
func planNotValid(f *facts) (verdict, bool) {
	problems := ValidatePlan(f.plan, engine.Opt{})
	if _, ok := f.plan.TargetOn(f.asOf); ok && f.current == nil {
		problems = append(problems, PlanProblem{"decisions", "hold a target that no day can have"})
	}
	if len(problems) == 0 {
		return verdict{}, false
	}
	v := verdict{
		action:       engine.KeepLogging,
		headline:     "The plan cannot be followed as it stands: " + problems[0].Field + " " + problems[0].Problem + ".",
		askAgainDays: 1,
	}
	for _, p := range problems {
		v.findings = append(v.findings, Finding{Code: CodePlanNotValid, Severity: Warning, Sentence: fmt.Sprintf("%s %s.", p.Field, p.Problem)})
	}
	return v, true
}

// notStarted waits for the plan's first day.
func notStarted(f *facts) (verdict, bool) {
	if f.asOf >= f.plan.Start {
		return verdict{}, false
	}
	sentence := "The plan starts on " + f.plan.Start.String() + "."
	return verdict{
		action:   engine.KeepLogging,
		headline: sentence + " Weighing every morning and logging until then gives it a head start.",
		findings: []Finding{{Code: CodeNotStarted, Severity: Info, Day: engine.SomeDay(f.plan.Start), Sentence: sentence}},
	}, true
}
