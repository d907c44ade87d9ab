package phase

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// course is one way down, day by day: a pace, and how far the trainee's eating
// lies from what is asked for.
type course struct {
	*forecaster
	pacePctPerWeek float64
	errorSDs       float64 // of spread.intakeKcal

	body      physiology.BodyState
	day       int           // lived so far
	floorKcal float64       // of this week
	target    engine.Target // of the last day lived, not rounded
	keepsPace bool          // on that day
}

func (fc *forecaster) course(pacePctPerWeek, errorSDs float64) course {
	return course{forecaster: fc, pacePctPerWeek: pacePctPerWeek, errorSDs: errorSDs, body: fc.start}
}

// weightKg is the trend weight: the tissue, with the water and glycogen of the start.
func (c *course) weightKg() float64 {
	return c.trendKg + c.body.FatKg + c.body.LeanKg - c.start.FatKg - c.start.LeanKg
}

// answer is how the body's energy balance answers, in kcal/d of tissue and
// glycogen gained: the model is linear in a day's intake and activity.
type answer struct {
	rested      float64 // at rested maintenance without activity
	perIntake   float64 // and model kcal of intake
	perActivity float64 // and kcal of activity a kg of body weight
}

func (c *course) answer() (answer, bool) {
	gain := func(d physiology.BodyDay) (float64, bool) {
		spent := c.model.ExpenditureKcal(c.body, d)
		return d.IntakeKcal - spent.V, spent.OK
	}
	const small = 100 // kcal
	kcal := c.model.IntakeKcal()
	rested, ok1 := gain(physiology.BodyDay{IntakeKcal: kcal})
	more, ok2 := gain(physiology.BodyDay{IntakeKcal: kcal + small})
	moved, ok3 := gain(physiology.BodyDay{IntakeKcal: kcal, ActivityKcalPerKg: 1})
	return answer{rested, (more - rested) / small, moved - rested}, ok1 && ok2 && ok3
}

// logged is an intake of the model in logged kcal, and modelled the way back.
func (fc *forecaster) logged(kcal float64) float64 {
	return fc.restedKcal + (kcal-fc.model.IntakeKcal())/fc.ratio
}

func (fc *forecaster) modelled(kcal float64) float64 {
	return fc.model.IntakeKcal() + fc.ratio*(kcal-fc.restedKcal)
}

// perKg is prescribed activity as the model takes it. Of it shows up what the
// filter was fitted to.
func (c *course) perKg(activityKcal float64) float64 {
	return c.ratio * walkShare * activityKcal / c.weightKg()
}

// ask works out the day's target: the intake that makes the pace with the base
// activity; where that is under the floor, the floor and as much activity as it
// takes, up to the cap.
func (c *course) ask(a answer) bool {
	density, ok := kcalPerKg(c.body.FatKg)
	if !ok {
		return false
	}
	if c.day%reviewDays == 0 {
		c.setFloor(a)
	}
	need := -c.pacePctPerWeek / 700 * c.weightKg() * density // kcal/d to be given up
	lackAt := func(intakeKcal, activityKcal float64) float64 {
		return a.rested + a.perIntake*(c.modelled(intakeKcal)-c.model.IntakeKcal()) + a.perActivity*c.perKg(activityKcal) - need
	}
	intake := c.logged(c.model.IntakeKcal() + (need-a.rested-a.perActivity*c.perKg(c.baseKcal))/a.perIntake)
	c.target, c.keepsPace = engine.Target{IntakeKcal: intake, ActivityKcal: c.baseKcal}, true
	if least := max(c.floorKcal, c.leastKcal); intake < least {
		lack := lackAt(least, c.baseKcal)
		activity := c.baseKcal - lack/(a.perActivity*c.perKg(1))
		c.target = engine.Target{IntakeKcal: least, ActivityKcal: clamp(activity, c.baseKcal, c.capKcal)}
		c.keepsPace = activity <= c.capKcal+1 // kcal
	}
	return true
}

// setFloor works out the week's floor by the weight and the maintenance of its
// first day. The first week's is at least that of today.
func (c *course) setFloor(a answer) {
	f := c.facts
	on := c.from + engine.Day(c.day)
	maintenance := c.logged(c.model.IntakeKcal() - a.rested/a.perIntake)
	least := floor(f.profile, engine.Some(c.weightKg()), on, engine.Some(maintenance), f.plan.IntakeFloorKcal)
	c.floorKcal = least.V + f.plan.WeekdayLessKcal() // as today's
	if c.day == 0 {
		c.floorKcal = max(c.floorKcal, f.floorKcal.V)
	}
}

// eaten is what is eaten of it: an error for the first four weeks, and then such
// that the sum grows as that of errors that every four weeks begin anew. Never
// less than the floor.
//
// That people do not keep to an error is our reading of real people's series,
// whose forecasts revert; the four weeks are those of spread.intakeKcal.
func (c *course) eaten() float64 {
	const block = balance.MaxForecastDays
	day := float64(c.day)
	share := 1.0
	if day >= block {
		share = math.Sqrt(block) * (math.Sqrt(day+1) - math.Sqrt(day))
	}
	return max(c.target.IntakeKcal+share*c.errorSDs*c.spread.intakeKcal, c.floorKcal)
}

// live carries the course over a day. It is false, and nothing changes, when the
// body would leave what the model covers.
func (c *course) live() bool {
	a, ok := c.answer()
	if !ok || !c.ask(a) {
		return false
	}
	body, ok := c.model.Day(c.body, physiology.BodyDay{
		IntakeKcal:        max(c.modelled(c.eaten()), 0),
		ActivityKcalPerKg: c.perKg(c.target.ActivityKcal),
	})
	if ok {
		c.body = body
		c.day++
	}
	return ok
}

// told is a target as a coach gets it: in steps of 5 kcal, the floor and the cap kept.
func (c *course) told() engine.Target {
	least := max(c.floorKcal, c.leastKcal)
	return engine.Target{
		IntakeKcal:   max(roundKcal*math.Round(c.target.IntakeKcal/roundKcal), roundKcal*math.Ceil(least/roundKcal)),
		ActivityKcal: min(roundKcal*math.Round(c.target.ActivityKcal/roundKcal), roundKcal*math.Floor(c.capKcal/roundKcal)),
	}
}
