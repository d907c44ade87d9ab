package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// Which lever is recommended for lowering the balance: food while the intake
// stays this far over the floor, then split, then activity. Early on food is
// the easier lever; as intake gets low, activity (common practice, no source;
// the number is ours).
const foodRoomKcal = 300

// roundKcal is what targets are rounded to, kcal/d; a change of intake can miss
// its bounds by half of it, a floor or a cap never by any.
const roundKcal = 5

// target rounds a prescription and holds it to the floor and the cap. Refeeds
// stay as they are.
func (f *facts) target(intakeKcal, activityKcal float64) engine.Target {
	t := engine.Target{
		Refeed:       f.present.Refeed,
		IntakeKcal:   roundKcal * math.Round(intakeKcal/roundKcal),
		ActivityKcal: roundKcal * math.Round(activityKcal/roundKcal),
	}
	if f.floorKcal.OK {
		t.IntakeKcal = max(t.IntakeKcal, roundKcal*math.Ceil(f.floorKcal.V/roundKcal))
	}
	t.ActivityKcal = min(max(t.ActivityKcal, 0), roundKcal*math.Floor(f.plan.ActivityCapKcal/roundKcal))
	return withoutSmallRefeed(t)
}

// withoutSmallRefeed drops refeeds that the ordinary intake has risen above.
func withoutSmallRefeed(t engine.Target) engine.Target {
	if t.Refeed.IntakeKcal <= t.IntakeKcal {
		t.Refeed = engine.Refeed{}
	}
	return t
}

// stay is the present target, held to the floor and the cap.
func (f *facts) stay() engine.Target { return f.change(0, 0).Target }

// room is how far a lever can go, kcal/d; whyNot says what stops it.
type room struct {
	kcal   float64
	whyNot string
}

// down is the room for less food and for more activity.
func (f *facts) down() (food, activity room) {
	if f.plan.FoodLever {
		food.kcal = max(f.present.IntakeKcal-f.floorKcal.Or(0), 0)
		food.whyNot = fmt.Sprintf("The intake would fall under the floor of %.0f kcal a day.", f.floorKcal.V)
	} else {
		food.whyNot = "The plan leaves food as it is."
	}
	if f.plan.ActivityLever {
		activity.kcal = max(f.plan.ActivityCapKcal-f.present.ActivityKcal, 0)
		activity.whyNot = fmt.Sprintf("Activity would go over the plan's limit of %.0f kcal a day.", f.plan.ActivityCapKcal)
	} else {
		activity.whyNot = "The plan leaves activity as it is."
	}
	return food, activity
}

// up is the room for more food and for less activity. Where activity cannot
// give back what it takes (in kcal/d of activity), food can, even in a plan
// that leaves food as it is: safety goes before the choice of levers.
func (f *facts) up(activityKcal float64) (food, activity room) {
	if f.plan.ActivityLever {
		activity.kcal = f.present.ActivityKcal
		activity.whyNot = "No activity is prescribed that could be left out."
		if activity.kcal > 0 {
			activity.whyNot = fmt.Sprintf("Only %.0f kcal a day of activity are prescribed.", activity.kcal)
		}
	} else {
		activity.whyNot = "The plan leaves activity as it is."
	}
	if f.plan.FoodLever || activity.kcal < activityKcal {
		food.kcal = math.Inf(1)
	} else {
		food.whyNot = "The plan leaves food as it is."
	}
	return food, activity
}

// options are the three ways to move the balance by foodKcal of food, negative
// to lower it. foodShare and walkShare of a change show up in the balance, so
// that activity of equal worth is foodShare/walkShare times the food.
func (f *facts) options(foodKcal, foodShare float64) []LeverOption {
	worth := foodShare / walkShare
	kcal := math.Abs(foodKcal)
	direction := 1.0
	foodRoom, activityRoom := f.up(kcal * worth)
	if foodKcal < 0 {
		direction = -1
		foodRoom, activityRoom = f.down()
	}
	half := clamp(kcal/2, kcal-activityRoom.kcal/worth, foodRoom.kcal) // what food gives to a split
	const tiny = 1e-6                                                  // kcal; rooms that add up to just the change must do
	isSplit := half >= roundKcal && kcal-half >= roundKcal && (kcal-half)*worth <= activityRoom.kcal+tiny
	change := func(food float64) *LeverChange {
		return f.change(direction*food, -direction*(kcal-food)*worth)
	}
	food, activity, split := LeverOption{Kind: LeverFood}, LeverOption{Kind: LeverActivity}, LeverOption{Kind: LeverSplit}
	food.allow(kcal <= foodRoom.kcal+tiny, foodRoom.whyNot, change(kcal))
	activity.allow(kcal*worth <= activityRoom.kcal+tiny, activityRoom.whyNot, change(0))
	split.allow(isSplit, splitWhyNot(foodRoom, activityRoom), change(half))
	out := []LeverOption{food, activity, split}
	f.recommendOne(out, foodRoom.kcal-kcal)
	return out
}

// splitWhyNot names what keeps a change from being shared.
func splitWhyNot(food, activity room) string {
	switch {
	case food.kcal < roundKcal:
		return food.whyNot
	case activity.kcal < roundKcal:
		return activity.whyNot
	}
	return "Food and activity together have no room for it."
}

func (o *LeverOption) allow(isPossible bool, whyNot string, c *LeverChange) {
	if o.Possible = isPossible; isPossible {
		o.Change = c
	} else {
		o.WhyNot = whyNot
	}
}

// recommendOne marks the option to take. foodLeft is how far over the floor the
// intake would stay if food gave it all.
func (f *facts) recommendOne(options []LeverOption, foodLeft float64) {
	order := [3]LeverKind{LeverSplit, LeverActivity, LeverFood}
	switch {
	case foodLeft >= foodRoomKcal:
		order = [3]LeverKind{LeverFood, LeverSplit, LeverActivity}
	case foodLeft < 0:
		order = [3]LeverKind{LeverActivity, LeverSplit, LeverFood}
	}
	for _, kind := range order {
		for i := range options {
			if options[i].Kind == kind && options[i].Possible {
				options[i].Recommended = true
				return
			}
		}
	}
}

// change works out what a step from the present target means.
func (f *facts) change(foodKcal, activityKcal float64) *LeverChange {
	t := f.target(f.present.IntakeKcal+foodKcal, f.present.ActivityKcal+activityKcal)
	if foodKcal == 0 { // a lever that is left alone is not rounded
		t.IntakeKcal = max(f.present.IntakeKcal, f.floorKcal.Or(0))
	}
	if activityKcal == 0 {
		t.ActivityKcal = min(f.present.ActivityKcal, f.plan.ActivityCapKcal)
	}
	t = withoutSmallRefeed(t)
	c := &LeverChange{ // + 0, since a change that rounds away is 0 and not -0
		Target:             t,
		FoodKcalPerDay:     math.Round(t.IntakeKcal-f.present.IntakeKcal) + 0,
		ActivityKcalPerDay: math.Round(t.ActivityKcal-f.present.ActivityKcal) + 0,
	}
	c.FoodKcalPerWeek, c.ActivityKcalPerWeek = 7*c.FoodKcalPerDay, 7*c.ActivityKcalPerDay
	if c.ActivityKcalPerDay != 0 && f.weightKg.OK {
		size, sign := math.Abs(c.ActivityKcalPerDay), math.Copysign(1, c.ActivityKcalPerDay)
		if steps := physiology.StepsFor(size, f.weightKg.V, f.profile.HeightCm.V, f.profile.Sex); steps.OK {
			c.StepsPerDay = engine.Some(sign * 100 * math.Round(steps.V/100))
		}
		if minutes := physiology.WalkMinutesFor(size, f.weightKg.V); minutes.OK {
			c.WalkMinutesPerDay = engine.Some(sign * math.Round(minutes.V))
		}
	}
	return c
}

// recommended returns the change of the option to take, nil without one.
func recommended(options []LeverOption) *LeverChange {
	for _, o := range options {
		if o.Recommended {
			return o.Change
		}
	}
	return nil
}
