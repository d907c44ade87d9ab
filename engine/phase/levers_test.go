package phase

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
)

// at sets the present target, floor and cap of an invented trainee.
func at(intake, activity, floorKcal, capKcal float64) *facts {
	f := inCut(0.4, 0.2)
	f.present = engine.Target{IntakeKcal: intake, ActivityKcal: activity}
	f.floorKcal, f.plan.ActivityCapKcal = engine.Some(floorKcal), capKcal
	return f
}

func TestLowering(t *testing.T) {
	// 100 kcal of food are worth 100 x 0.74/0.72 = 102.8 of walking.
	for _, c := range []struct {
		what                        string
		intake, activity, floor     float64
		cap                         float64
		food, walk, split           bool
		recommended                 LeverKind
		splitFood, splitActivity    float64 // changes of the split
		noFood, noActivity, isEmpty bool
	}{
		{what: "far from the floor: food", intake: 2000, floor: 1600, cap: 400, food: true, walk: true, split: true, recommended: LeverFood, splitFood: -50, splitActivity: 50},
		{what: "300 left after the step: food", intake: 2000, floor: 1600, cap: 400, food: true, walk: true, split: true, recommended: LeverFood, splitFood: -50, splitActivity: 50},
		{what: "299 left: split", intake: 2000, floor: 1601, cap: 400, food: true, walk: true, split: true, recommended: LeverSplit, splitFood: -50, splitActivity: 50},
		{what: "just at the floor after the step: split", intake: 2000, floor: 1900, cap: 400, food: true, walk: true, split: true, recommended: LeverSplit, splitFood: -50, splitActivity: 50},
		{what: "under the floor after the step: activity", intake: 2000, floor: 1901, cap: 400, walk: true, split: true, recommended: LeverActivity, splitFood: -50, splitActivity: 50},
		{what: "little food left for the split", intake: 2000, floor: 1970, cap: 400, walk: true, split: true, recommended: LeverActivity, splitFood: -30, splitActivity: 70},
		{what: "at the floor", intake: 2000, floor: 2000, cap: 400, walk: true, recommended: LeverActivity},
		{what: "little activity left for the split", intake: 2000, activity: 370, floor: 1600, cap: 400, food: true, split: true, recommended: LeverFood, splitFood: -70, splitActivity: 30},
		{what: "near the floor without room for activity: food", intake: 2000, activity: 400, floor: 1850, cap: 400, food: true, recommended: LeverFood},
		{what: "neither alone, both together", intake: 2000, activity: 340, floor: 1940, cap: 400, split: true, recommended: LeverSplit, splitFood: -50, splitActivity: 50},
		{what: "not even together", intake: 2000, activity: 380, floor: 1940, cap: 400},
		{what: "the plan leaves food", intake: 2000, floor: 1600, cap: 400, noFood: true, walk: true, recommended: LeverActivity},
		{what: "the plan leaves activity", intake: 2000, floor: 1600, cap: 400, noActivity: true, food: true, recommended: LeverFood},
		{what: "the plan leaves both", intake: 2000, floor: 1600, cap: 400, noFood: true, noActivity: true},
	} {
		f := at(c.intake, c.activity, c.floor, c.cap)
		f.plan.FoodLever, f.plan.ActivityLever = !c.noFood, !c.noActivity
		got := f.options(-100, foodShareDown)
		for i, want := range []struct {
			kind     LeverKind
			possible bool
		}{{LeverFood, c.food}, {LeverActivity, c.walk}, {LeverSplit, c.split}} {
			o := got[i]
			if o.Kind != want.kind || o.Possible != want.possible || o.Recommended != (want.kind == c.recommended) {
				t.Errorf("%s: option %d: %+v", c.what, want.kind, o)
			}
			if o.Possible == (o.WhyNot != "") || o.Possible != (o.Change != nil) {
				t.Errorf("%s: option %d is neither possible nor explained: %+v", c.what, want.kind, o)
			}
		}
		if c.split {
			s := got[2].Change
			if s.FoodKcalPerDay != c.splitFood || s.ActivityKcalPerDay != c.splitActivity {
				t.Errorf("%s: split %+v", c.what, s)
			}
		}
	}
}

func TestOptionsAreWorthTheSame(t *testing.T) {
	for _, kcal := range []float64{-100, -187, -200, 120, 200} {
		share := float64(foodShareDown)
		if kcal > 0 {
			share = foodShare
		}
		f := at(2400, 250, 1500, 1000)
		for _, o := range f.options(kcal, share) {
			c := o.Change
			if c == nil {
				t.Fatalf("%v kcal: option %d: %s", kcal, o.Kind, o.WhyNot)
			}
			worth := share*c.FoodKcalPerDay - walkShare*c.ActivityKcalPerDay
			if math.Abs(worth-share*kcal) > 2*roundKcal {
				t.Errorf("%v kcal: option %d is worth %.1f, want %.1f", kcal, o.Kind, worth, share*kcal)
			}
			if c.FoodKcalPerWeek != 7*c.FoodKcalPerDay || c.ActivityKcalPerWeek != 7*c.ActivityKcalPerDay {
				t.Errorf("a week is not seven days: %+v", c)
			}
			if c.Target.IntakeKcal != 2400+c.FoodKcalPerDay || c.Target.ActivityKcal != 250+c.ActivityKcalPerDay {
				t.Errorf("target and change disagree: %+v", c)
			}
			if walks := c.ActivityKcalPerDay != 0; c.StepsPerDay.OK != walks || c.WalkMinutesPerDay.OK != walks {
				t.Errorf("walking is told %v for %v kcal", c.StepsPerDay, c.ActivityKcalPerDay)
			}
			if c.StepsPerDay.V*c.ActivityKcalPerDay < 0 {
				t.Errorf("%v steps for %v kcal", c.StepsPerDay.V, c.ActivityKcalPerDay)
			}
		}
	}
}

// 100 kcal of walking at 80 kg: 2.5 km at 0.50 kcal/kg/km, 31 minutes at 4.8
// km/h, 3300 steps of 0.415 x 1.80 m (3347).
func TestWalkingIsToldInSteps(t *testing.T) {
	c := at(2000, 0, 1500, 400).change(0, 100)
	if c.StepsPerDay.V != 3300 || c.WalkMinutesPerDay.V != 31 {
		t.Errorf("%+v", c)
	}
}

// Giving back: food first, and activity where it has something to give.
func TestRaising(t *testing.T) {
	for _, c := range []struct {
		what           string
		activity       float64
		noFood, noWalk bool
		possible       [3]bool
		recommended    LeverKind
	}{
		{"no activity prescribed", 0, false, false, [3]bool{true, false, false}, LeverFood},
		{"enough activity", 110, false, false, [3]bool{true, true, true}, LeverFood},
		{"a little activity", 40, false, false, [3]bool{true, false, true}, LeverFood},
		{"the plan leaves food, activity can", 110, true, false, [3]bool{false, true, false}, LeverActivity},
		{"the plan leaves food, activity cannot", 40, true, false, [3]bool{true, false, true}, LeverFood},
		{"the plan leaves activity", 200, false, true, [3]bool{true, false, false}, LeverFood},
		{"the plan leaves both", 200, true, true, [3]bool{true, false, false}, LeverFood},
	} {
		f := at(2000, c.activity, 1500, 400)
		f.plan.FoodLever, f.plan.ActivityLever = !c.noFood, !c.noWalk
		for i, o := range f.options(100, foodShare) {
			if o.Possible != c.possible[i] || o.Recommended != (o.Kind == c.recommended) || o.Possible == (o.WhyNot != "") {
				t.Errorf("%s: %+v", c.what, o)
			}
		}
	}
}

func TestTargetsKeepFloorAndCap(t *testing.T) {
	f := at(2000, 100, 1501, 203)
	for _, c := range []struct{ intake, activity, wantIntake, wantActivity float64 }{
		{1999, 99, 2000, 100}, {1400, 300, 1505, 200}, {1501, 203, 1505, 200}, {1506, -10, 1505, 0},
	} {
		if got := f.target(c.intake, c.activity); got.IntakeKcal != c.wantIntake || got.ActivityKcal != c.wantActivity {
			t.Errorf("target(%v, %v) = %+v", c.intake, c.activity, got)
		}
	}
	if c := at(1490, 500, 1500, 400).change(0, 0); c.Target.IntakeKcal != 1500 || c.Target.ActivityKcal != 400 {
		t.Errorf("a target beyond its limits is kept: %+v", c)
	}
}

// A step too large for the room that is left is what is left, down to 5 %;
// below that it is a hold that says so.
func TestCarryOutAtTheFloor(t *testing.T) {
	for _, c := range []struct {
		what       string
		floor, cap float64
		action     engine.Action
		intake     float64 // proposed, 0 for nothing
		isAtFloor  bool
	}{
		{"room for all", 1700, 0, engine.LowerBalance, 1800, false},
		{"room for less than was asked", 1850, 0, engine.LowerBalance, 1850, true},
		{"room for 5 %", 1900, 0, engine.LowerBalance, 1900, true},
		{"room for less", 1901, 0, engine.Hold, 0, true},
		{"room for less, but for walking", 1901, 400, engine.LowerBalance, 2000, false},
	} {
		f := at(2000, 0, c.floor, c.cap)
		v := verdict{action: engine.LowerBalance, changeKcal: -200, foodShare: foodShareDown}
		f.carryOut(&v)
		got := 0.0
		if v.proposed != nil {
			got = v.proposed.IntakeKcal
		}
		isAtFloor := len(v.findings) == 1 && v.findings[0].Code == CodeAtFloor
		if v.action != c.action || got != c.intake || isAtFloor != c.isAtFloor || v.headline == "" {
			t.Errorf("%s: %+v", c.what, v)
		}
	}
}

// The opening cut comes from food; walking helps only where the floor leaves
// food less than 5 %.
func TestOpeningOptions(t *testing.T) {
	for _, c := range []struct {
		what        string
		floor       float64
		noFood      bool
		recommended LeverKind
		target      engine.Target
	}{
		{"room", 1500, false, LeverFood, engine.Target{IntakeKcal: 1600}},
		{"some room", 1800, false, LeverFood, engine.Target{IntakeKcal: 1800}},
		{"room for 5 %", 1900, false, LeverFood, engine.Target{IntakeKcal: 1900}},
		{"hardly any room", 1901, false, LeverSplit, engine.Target{IntakeKcal: 1905, ActivityKcal: 325}},
		{"the plan leaves food: what the cap allows", 1500, true, LeverActivity, engine.Target{IntakeKcal: 2000, ActivityKcal: 400}},
	} {
		f := at(2000, 0, c.floor, 400)
		f.plan.FoodLever = !c.noFood
		v := verdict{action: engine.StartDeficit, changeKcal: -400, foodShare: foodShare}
		for _, o := range f.carryOut(&v) {
			if o.Recommended != (o.Kind == c.recommended) {
				t.Errorf("%s: %+v", c.what, o)
			}
		}
		if v.action != engine.StartDeficit || v.proposed == nil || *v.proposed != c.target {
			t.Errorf("%s: %+v, want the target %+v", c.what, v, c.target)
		}
	}
}

// Where no target is in force the usual intake is no round number; the change
// is told in whole kcal all the same, and what rounds away is 0 and not -0.
func TestChangeIsInWholeKcal(t *testing.T) {
	f := &facts{plan: engine.DefaultPlan(start), present: engine.Target{IntakeKcal: 2220.3, ActivityKcal: 400.4}}
	c := f.change(-510, 0)
	if c.Target.IntakeKcal != 1710 || c.FoodKcalPerDay != -510 || c.FoodKcalPerWeek != -3570 {
		t.Errorf("%+v", c)
	}
	if c.ActivityKcalPerDay != 0 || math.Signbit(c.ActivityKcalPerDay) || math.Signbit(c.ActivityKcalPerWeek) {
		t.Errorf("activity changes by %v", c.ActivityKcalPerDay)
	}
}

// Why activity cannot give back is told in words that fit none at all.
func TestNoActivityToLeaveOut(t *testing.T) {
	for activity, want := range map[float64]string{
		0:  "No activity is prescribed that could be left out.",
		60: "Only 60 kcal a day of activity are prescribed.",
	} {
		f := &facts{plan: engine.DefaultPlan(start), present: engine.Target{IntakeKcal: 2000, ActivityKcal: activity}}
		if _, got := f.up(200); got.whyNot != want {
			t.Errorf("%v kcal prescribed: %q", activity, got.whyNot)
		}
	}
}
