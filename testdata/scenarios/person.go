package scenarios

import (
	"fmt"
	"slices"
	"strings"

	"example.com/steelyard/engine"
)

// personText is a profile as a file has it, or what an edit changes of one.
type personText struct {
	Sex                  string   `yaml:"sex"`
	Born                 string   `yaml:"born"`
	HeightCm             *float64 `yaml:"height_cm"`
	Activity             string   `yaml:"activity"`
	MaintenanceGuessKcal *float64 `yaml:"maintenance_guess_kcal"`
	Conditions           []string `yaml:"conditions"`
}

// fill sets in a profile what is said.
func (t personText) fill(p *engine.Profile) error {
	switch t.Sex {
	case "":
	case "female":
		p.Sex = engine.Female
	case "male":
		p.Sex = engine.Male
	default:
		return fmt.Errorf("person.sex: %q is neither female nor male", t.Sex)
	}
	if t.Born != "" {
		day, err := engine.ParseDay(t.Born)
		if err != nil {
			return fmt.Errorf("person.born: %w", err)
		}
		p.BirthDate = engine.SomeDay(day)
	}
	if t.Activity != "" {
		level, err := word(levelWords, t.Activity)
		if err != nil {
			return fmt.Errorf("person.activity: %w", err)
		}
		p.Activity = engine.ActivityLevel(level)
	}
	opt(&p.HeightCm, t.HeightCm)
	opt(&p.MaintenanceGuessKcal, t.MaintenanceGuessKcal)
	for _, c := range t.Conditions {
		i := slices.Index(conditionWords, c)
		if i < 0 {
			return fmt.Errorf("person.conditions: %q is none of %s", c, strings.Join(conditionWords, ", "))
		}
		p.Conditions |= 1 << i
	}
	return nil
}

// planText is a plan as a file has it, or what an edit changes of one.
type planText struct {
	Start               string   `yaml:"start"`
	State               string   `yaml:"state"`
	Method              string   `yaml:"method"`
	SkipMaintenanceTest *bool    `yaml:"skip_maintenance_test"`
	GoalWeightKg        *float64 `yaml:"goal_weight_kg"`
	GoalBodyFatPct      *float64 `yaml:"goal_body_fat_pct"`
	BandLowPctPerWeek   *float64 `yaml:"band_low_pct_per_week"`
	BandHighPctPerWeek  *float64 `yaml:"band_high_pct_per_week"`
	PacePctPerWeek      *float64 `yaml:"pace_pct_per_week"`
	FoodLever           *bool    `yaml:"food_lever"`
	ActivityLever       *bool    `yaml:"activity_lever"`
	BaseActivityKcal    *float64 `yaml:"base_activity_kcal"`
	ActivityCapKcal     *float64 `yaml:"activity_cap_kcal"`
	IntakeFloorKcal     *float64 `yaml:"intake_floor_kcal"`
	AllowRefeeds        *bool    `yaml:"allow_refeeds"`
	WeekendExtraKcal    *float64 `yaml:"weekend_extra_kcal"`
}

// fill sets in a plan what is said.
func (t planText) fill(p *engine.Plan) error {
	if t.Start != "" {
		day, err := engine.ParseDay(t.Start)
		if err != nil {
			return fmt.Errorf("plan.start: %w", err)
		}
		p.Start = day
	}
	switch t.State {
	case "":
	case "open":
		p.State = engine.PlanOpen
	case "closed":
		p.State = engine.PlanClosed
	default:
		return fmt.Errorf("plan.state: %q is neither open nor closed", t.State)
	}
	if t.Method != "" {
		i := slices.Index(methodWords, t.Method)
		if i < 0 {
			return fmt.Errorf("plan.method: %q is none of %s", t.Method, strings.Join(methodWords, ", "))
		}
		p.Method = engine.Method(i)
	}
	opt(&p.GoalWeightKg, t.GoalWeightKg)
	opt(&p.GoalBodyFatPct, t.GoalBodyFatPct)
	opt(&p.IntakeFloorKcal, t.IntakeFloorKcal)
	set(&p.SkipMaintenanceTest, t.SkipMaintenanceTest)
	set(&p.BandLowPctPerWeek, t.BandLowPctPerWeek)
	set(&p.BandHighPctPerWeek, t.BandHighPctPerWeek)
	set(&p.PacePctPerWeek, t.PacePctPerWeek)
	set(&p.FoodLever, t.FoodLever)
	set(&p.ActivityLever, t.ActivityLever)
	set(&p.BaseActivityKcal, t.BaseActivityKcal)
	set(&p.ActivityCapKcal, t.ActivityCapKcal)
	set(&p.AllowRefeeds, t.AllowRefeeds)
	set(&p.WeekendExtraKcal, t.WeekendExtraKcal)
	return nil
}

func set[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

func opt(to *engine.Opt, from *float64) {
	if from != nil {
		*to = engine.Some(*from)
	}
}
