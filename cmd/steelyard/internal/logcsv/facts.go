package logcsv

import (
	"fmt"
	"strings"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// facts makes the entries of a row, without date, note and a key of their own
// unless the kind needs one. What is wrong is refused on the row.
func (r *row) facts(setNumber func(lift string) int) []*steelyardv1.Entry {
	var out []*steelyardv1.Entry
	for _, fact := range []func(*steelyardv1.Entry) bool{r.weighIn, r.intake, r.activity} {
		if e := (&steelyardv1.Entry{}); fact(e) {
			out = append(out, e)
		}
	}
	if e := (&steelyardv1.Entry{}); r.liftSet(e, setNumber) {
		out = append(out, e)
	}
	for _, fact := range []func(*steelyardv1.Entry) bool{r.tape, r.bodyFat, r.checkIn} {
		if e := (&steelyardv1.Entry{}); fact(e) {
			out = append(out, e)
		}
	}
	return append(out, r.marks()...)
}

func (r *row) mass(names ...string) *steelyardv1.Mass {
	name, ok := r.oneOf(names...)
	if !ok {
		return nil
	}
	v := r.number(name)
	if v == nil {
		return nil
	}
	unit := steelyardv1.MassUnit_MASS_UNIT_KILOGRAM
	switch {
	case strings.HasSuffix(name, "_lb"):
		unit = steelyardv1.MassUnit_MASS_UNIT_POUND
	case strings.HasSuffix(name, "_st"):
		unit = steelyardv1.MassUnit_MASS_UNIT_STONE
	}
	return &steelyardv1.Mass{Value: *v, Unit: unit}
}

func (r *row) energy(names ...string) *steelyardv1.Energy {
	name, ok := r.oneOf(names...)
	if !ok {
		return nil
	}
	v := r.number(name)
	if v == nil {
		return nil
	}
	unit := steelyardv1.EnergyUnit_ENERGY_UNIT_KILOCALORIE
	if strings.HasSuffix(name, "_kj") {
		unit = steelyardv1.EnergyUnit_ENERGY_UNIT_KILOJOULE
	}
	return &steelyardv1.Energy{Value: *v, Unit: unit}
}

func (r *row) weighIn(e *steelyardv1.Entry) bool {
	if _, ok := r.any("weight_kg", "weight_lb", "weight_st"); !ok {
		r.orphan("a weight", "minute_of_day")
		return false
	}
	e.Fact = &steelyardv1.Entry_WeighIn{WeighIn: &steelyardv1.WeighIn{
		Weight:      r.mass("weight_kg", "weight_lb", "weight_st"),
		MinuteOfDay: r.integer("minute_of_day"),
	}}
	return true
}

func (r *row) intake(e *steelyardv1.Entry) bool {
	if _, ok := r.any("intake_kcal", "intake_kj"); !ok {
		r.orphan("intake_kcal or intake_kj", "protein_g", "carbohydrate_g", "fat_g", "sodium_mg", "partial")
		return false
	}
	partial := r.yesNo("partial")
	e.Fact = &steelyardv1.Entry_Intake{Intake: &steelyardv1.Intake{
		Energy:        r.energy("intake_kcal", "intake_kj"),
		ProteinG:      r.number("protein_g"),
		CarbohydrateG: r.number("carbohydrate_g"),
		FatG:          r.number("fat_g"),
		SodiumMg:      r.number("sodium_mg"),
		IsPartial:     partial != nil && *partial,
	}}
	return true
}

func (r *row) activity(e *steelyardv1.Entry) bool {
	if _, ok := r.any("steps", "activity_kcal", "activity_kj", "activity_minutes"); !ok {
		return false
	}
	e.Fact = &steelyardv1.Entry_Activity{Activity: &steelyardv1.Activity{
		Steps:   r.integer("steps"),
		Energy:  r.energy("activity_kcal", "activity_kj"),
		Minutes: r.number("activity_minutes"),
	}}
	return true
}

// liftSet counts every row that names a lift, refused ones too, so that a
// corrected file gives the other sets of the day the keys they had.
func (r *row) liftSet(e *steelyardv1.Entry, setNumber func(lift string) int) bool {
	lift := r.text("lift")
	if lift == "" {
		r.orphan("a lift", "load_kg", "load_lb", "reps", "reps_in_reserve")
		return false
	}
	number := setNumber(lift)
	r.checkName("lift", lift)
	if e.Key = r.text("key"); e.Key == "" {
		if e.Key = fmt.Sprintf("%s-%d", lift, number); len(e.Key) > 40 && len(lift) <= 40 {
			r.refuse("lift", "is too long to number its sets; shorten it or give each set a key")
		}
	}
	if _, ok := r.any("load_kg", "load_lb"); !ok {
		r.refuse("load_kg", "is missing; 0 for body weight alone")
	}
	reps := r.integer("reps")
	if r.text("reps") == "" {
		r.refuse("reps", "is missing")
	}
	set := &steelyardv1.LiftSet{
		Lift:          lift,
		Load:          r.mass("load_kg", "load_lb"),
		RepsInReserve: r.number("reps_in_reserve"),
	}
	if reps != nil {
		set.Reps = *reps
	}
	e.Fact = &steelyardv1.Entry_LiftSet{LiftSet: set}
	return true
}

func (r *row) tape(e *steelyardv1.Entry) bool {
	if _, ok := r.any("waist_cm", "abdomen_cm", "hip_cm", "neck_cm", "chest_cm", "thigh_cm", "upper_arm_cm"); !ok {
		return false
	}
	e.Fact = &steelyardv1.Entry_Tape{Tape: &steelyardv1.Tape{
		WaistCm:    r.number("waist_cm"),
		AbdomenCm:  r.number("abdomen_cm"),
		HipCm:      r.number("hip_cm"),
		NeckCm:     r.number("neck_cm"),
		ChestCm:    r.number("chest_cm"),
		ThighCm:    r.number("thigh_cm"),
		UpperArmCm: r.number("upper_arm_cm"),
	}}
	return true
}

func (r *row) bodyFat(e *steelyardv1.Entry) bool {
	if r.text("body_fat_pct") == "" {
		r.orphan("body_fat_pct", "body_fat_method")
		return false
	}
	if r.text("body_fat_method") == "" {
		r.refuse("body_fat_method", "is missing")
	}
	f := &steelyardv1.BodyFat{Method: steelyardv1.BodyFatMethod(r.word("body_fat_method", r.text("body_fat_method"),
		steelyardv1.BodyFatMethod_value, "BODY_FAT_METHOD_", steelyardv1.BodyFatMethod_name))}
	if v := r.number("body_fat_pct"); v != nil {
		f.BodyFatPct = *v
	}
	e.Fact = &steelyardv1.Entry_BodyFat{BodyFat: f}
	return true
}

func (r *row) checkIn(e *steelyardv1.Entry) bool {
	if _, ok := r.any("hunger_ease", "energy", "sleep", "training_drive", "was_slog"); !ok {
		return false
	}
	e.Fact = &steelyardv1.Entry_CheckIn{CheckIn: &steelyardv1.CheckIn{
		HungerEase:    r.integer("hunger_ease"),
		Energy:        r.integer("energy"),
		Sleep:         r.integer("sleep"),
		TrainingDrive: r.integer("training_drive"),
		WasSlog:       r.yesNo("was_slog"),
	}}
	return true
}

// marks makes an entry a mark, keyed by its word, so that a day may have several.
func (r *row) marks() []*steelyardv1.Entry {
	var out []*steelyardv1.Entry
	var refeed *steelyardv1.Mark
	if cell := r.text("marks"); cell != "" {
		for word := range strings.SplitSeq(cell, ";") {
			word = strings.TrimSpace(word)
			if word == "" {
				r.refuse("marks", "has an empty mark between two ';' (got %s)", shorten(cell))
				continue
			}
			m := &steelyardv1.Mark{Of: steelyardv1.MarkKind(r.word("marks", word, steelyardv1.MarkKind_value, "MARK_KIND_", steelyardv1.MarkKind_name))}
			if m.GetOf() == steelyardv1.MarkKind_MARK_KIND_REFEED {
				refeed = m
			}
			out = append(out, &steelyardv1.Entry{
				Key:  strings.ReplaceAll(word, "_", "-"),
				Fact: &steelyardv1.Entry_Mark{Mark: m},
			})
		}
	}
	if refeed == nil {
		r.orphan("the mark refeed", "refeed_kcal")
		return out
	}
	refeed.TargetKcal = r.number("refeed_kcal")
	return out
}
