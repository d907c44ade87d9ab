package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
)

// carryOut turns the size of a change into lever options and a target. Where
// the floor and the cap leave no room for it, it is what they leave; where that
// is less than a step, the answer is to hold and to say so.
func (f *facts) carryOut(v *verdict) []LeverOption {
	if v.changeKcal == 0 {
		return nil
	}
	asked := v.changeKcal
	options := f.options(asked, v.foodShare)
	if v.action == engine.StartDeficit && f.plan.FoodLever {
		options = f.openOptions(asked)
	}
	c := recommended(options)
	if c == nil && asked < 0 {
		food, activity := f.down()
		if all := food.kcal + activity.kcal*walkShare/v.foodShare; all < -asked && all >= stepLeast*f.present.IntakeKcal {
			options = f.options(-all, v.foodShare)
			c = recommended(options)
		}
	}
	if c == nil {
		f.holdAtFloor(v)
		return options
	}
	v.proposed = &c.Target
	switch v.action {
	case engine.StartDeficit:
		v.headline = f.openHeadline(c)
	case engine.LowerBalance:
		v.headline = f.slowHeadline(c)
	case engine.RaiseBalance:
		v.headline = f.fastHeadline(c)
	case engine.Ease:
		v.headline = f.easeHeadline(v, c)
	}
	if short := math.Abs(asked) - worthOf(c, v.foodShare); asked < 0 && short > roundKcal {
		v.findings = append(v.findings, f.floorFinding(
			fmt.Sprintf("The floor and the activity limit leave room for about %.0f kcal a day less of a change than the pace asks for.", short)))
	}
	return options
}

// openOptions are those of the opening cut, which comes from food: activity is
// added later. Where the floor leaves food too little room, walking may help.
func (f *facts) openOptions(foodKcal float64) []LeverOption {
	food, _ := f.down()
	least := stepLeast * f.present.IntakeKcal
	if food.kcal < least {
		return f.options(foodKcal, foodShare)
	}
	const later = "The opening cut comes from food; walking is added later."
	return []LeverOption{
		{Kind: LeverFood, Possible: true, Recommended: true, Change: f.change(-min(-foodKcal, food.kcal), 0)},
		{Kind: LeverActivity, WhyNot: later},
		{Kind: LeverSplit, WhyNot: later},
	}
}

// worthOf is the food that a change is worth, kcal/d.
func worthOf(c *LeverChange, foodShare float64) float64 {
	return math.Abs(-c.FoodKcalPerDay + c.ActivityKcalPerDay*walkShare/foodShare)
}

// holdAtFloor turns a verdict that nothing can carry out into a hold.
func (f *facts) holdAtFloor(v *verdict) {
	v.action = engine.Hold
	v.back = f.wayBack(breakDays)
	v.headline = fmt.Sprintf("A lower balance is called for, but neither food nor activity has room for it: the floor is %.0f kcal a day. "+
		"Hold, and talk about a slower goal, a break at maintenance, or more room for walking.", f.floorKcal.V)
	v.findings = append(v.findings, f.floorFinding("Neither the intake floor nor the plan's activity leaves room for a change."))
}

func (f *facts) floorFinding(sentence string) Finding {
	return Finding{
		Code: CodeAtFloor, Severity: Notice, Sentence: sentence,
		Numbers: []Number{{"floor_kcal", f.floorKcal.V, "kcal/d"}, {"activity_cap_kcal", f.plan.ActivityCapKcal, "kcal/d"}},
	}
}

// targetWords says the target of a change: "2120 kcal a day, 380 less than now".
func targetWords(c *LeverChange) string {
	s := fmt.Sprintf("%.0f kcal a day", c.Target.IntakeKcal)
	switch food := math.Round(c.FoodKcalPerDay); {
	case food < 0:
		s += fmt.Sprintf(", %.0f less than now", -food)
	case food > 0:
		s += fmt.Sprintf(", %.0f more than now", food)
	}
	if c.ActivityKcalPerDay != 0 {
		s += ", with " + activityWords(c)
	}
	return s
}

// changeWords says a change: "120 kcal a day less food and 60 kcal a day more
// walking (about 25 minutes)".
func changeWords(c *LeverChange) string {
	food := ""
	switch kcal := math.Round(c.FoodKcalPerDay); {
	case kcal < 0:
		food = fmt.Sprintf("%.0f kcal a day less food", -kcal)
	case kcal > 0:
		food = fmt.Sprintf("%.0f kcal a day more food", kcal)
	}
	switch {
	case c.ActivityKcalPerDay == 0:
		return food
	case food == "":
		return activityWords(c)
	}
	return food + " and " + activityWords(c)
}

func activityWords(c *LeverChange) string {
	word := "more"
	if c.ActivityKcalPerDay < 0 {
		word = "less"
	}
	s := fmt.Sprintf("%.0f kcal a day %s walking", math.Abs(c.ActivityKcalPerDay), word)
	if c.WalkMinutesPerDay.OK {
		s += fmt.Sprintf(" (about %.0f minutes)", math.Abs(c.WalkMinutesPerDay.V))
	}
	return s
}
