// Package rows is how the values that a backend keeps in one column are written:
// facts and days are packed, profiles and the terms of plans are
// JSON. Every backend stores the same bytes, so that a log moved from one to
// another needs no translation.
//
// What is stored does not follow the engine's types, so that a renamed field
// there cannot make a stored log unreadable. A new field is optional; a field
// never changes its meaning. Masses and energies keep the value and the unit in
// which they were given.
package rows

import (
	"errors"
	"fmt"

	"example.com/steelyard/engine"
)

// AppendFact appends a packed fact, at least one byte. An error when it holds a
// number that is not finite or a constant that the engine has not, or when it is
// no fact of the engine by value.
func AppendFact(dst []byte, f engine.Fact) ([]byte, error) {
	c := coder{buf: append(dst, packedV1)}
	switch f := f.(type) {
	case engine.WeighIn:
		c.weighIn(&f)
	case engine.Intake:
		c.intake(&f)
	case engine.Activity:
		c.activity(&f)
	case engine.LiftSet:
		c.liftSet(&f)
	case engine.Tape:
		c.tape(&f)
	case engine.BodyFat:
		c.bodyFat(&f)
	case engine.CheckIn:
		c.checkIn(&f)
	case engine.PhotoSet:
		c.text(&f.Reference)
	case engine.Mark:
		c.mark(&f)
	default:
		return dst, fmt.Errorf("no row for a fact of type %T", f)
	}
	return c.trimmed(len(dst))
}

// DecodeFact reads a fact of that kind, packed or in JSON as it was written before.
func DecodeFact(k engine.Kind, stored []byte) (engine.Fact, error) {
	if isJSON(stored) {
		return decodeFactJSON(k, stored)
	}
	c := reading(stored)
	var fact engine.Fact
	switch k {
	case engine.KindWeighIn:
		var f engine.WeighIn
		c.weighIn(&f)
		fact = f
	case engine.KindIntake:
		var f engine.Intake
		c.intake(&f)
		fact = f
	case engine.KindActivity:
		var f engine.Activity
		c.activity(&f)
		fact = f
	case engine.KindLiftSet:
		var f engine.LiftSet
		c.liftSet(&f)
		fact = f
	case engine.KindTape:
		var f engine.Tape
		c.tape(&f)
		fact = f
	case engine.KindBodyFat:
		var f engine.BodyFat
		c.bodyFat(&f)
		fact = f
	case engine.KindCheckIn:
		var f engine.CheckIn
		c.checkIn(&f)
		fact = f
	case engine.KindPhotoSet:
		var f engine.PhotoSet
		c.text(&f.Reference)
		fact = f
	case engine.KindMark:
		var f engine.Mark
		c.mark(&f)
		fact = f
	default:
		return nil, fmt.Errorf("no row for facts of kind %d", k)
	}
	if c.err != nil {
		return nil, c.err
	}
	return fact, nil
}

// The order of the fields is what is stored: a new one comes last.

func (c *coder) weighIn(f *engine.WeighIn) {
	c.mass(&f.Weight)
	c.opt(&f.MinuteOfDay)
}

func (c *coder) intake(f *engine.Intake) {
	c.energy(&f.Energy)
	c.opt(&f.ProteinG)
	c.opt(&f.CarbG)
	c.opt(&f.FatG)
	c.opt(&f.SodiumMg)
	c.bool(&f.IsPartial)
}

func (c *coder) activity(f *engine.Activity) {
	c.opt(&f.Steps)
	c.energy(&f.Energy)
	c.opt(&f.Minutes)
}

func (c *coder) liftSet(f *engine.LiftSet) {
	c.text(&f.Lift)
	c.mass(&f.Load)
	c.int(&f.Reps)
	c.opt(&f.RepsInReserve)
}

func (c *coder) tape(f *engine.Tape) {
	c.opt(&f.WaistCm)
	c.opt(&f.AbdomenCm)
	c.opt(&f.HipCm)
	c.opt(&f.NeckCm)
	c.opt(&f.ChestCm)
	c.opt(&f.ThighCm)
	c.opt(&f.UpperArmCm)
}

func (c *coder) bodyFat(f *engine.BodyFat) {
	c.number(&f.Pct)
	small(c, &f.Method, 255)
}

func (c *coder) checkIn(f *engine.CheckIn) {
	c.int(&f.HungerEase)
	c.int(&f.Energy)
	c.int(&f.Sleep)
	c.int(&f.TrainingDrive)
	small(c, &f.WasSlog, 255)
}

func (c *coder) mark(f *engine.Mark) {
	small(c, &f.Of, 255)
	c.opt(&f.TargetKcal)
}

func (c *coder) mass(m *engine.Mass) {
	c.number(&m.Value)
	small(c, &m.Unit, engine.Stone)
}

func (c *coder) energy(e *engine.Energy) {
	c.number(&e.Value)
	small(c, &e.Unit, engine.Kilojoule)
}

// ErrRange is a stored number that its type cannot hold.
var ErrRange = errors.New("a stored number is out of range")
