package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
)

// Limits of what a log may hold, after conversion. They are wide: they refuse
// what cannot be, not what is unusual (that is the estimator's work).
// Common practice, no source.
const (
	minWeightKg, maxWeightKg = 20, 400
	maxLoadKg                = 1000
	maxIntakeKcal            = 20000
	maxActivityKcal          = 10000
)

// DefaultKey stands for a key that the caller left out.
const DefaultKey = "1"

// EntryFromProto reads an entry whose shape the contract's own rules have
// validated. lastDay is the last day that may be logged.
func EntryFromProto(e *pb.Entry, lastDay engine.Day) (engine.Entry, error) {
	day, err := DayFromProto(e.GetDate(), "date")
	if err != nil {
		return engine.Entry{}, err
	}
	if day > lastDay {
		return engine.Entry{}, fault.InvalidField("date", "%s lies in the future; the last day that can be logged is %s", day, lastDay)
	}
	fact, err := factFromProto(e)
	if err != nil {
		return engine.Entry{}, err
	}
	key := e.GetKey()
	if key == "" {
		key = DefaultKey
	}
	return engine.Entry{Day: day, Key: key, Note: e.GetNote(), Fact: fact}, nil
}

func factFromProto(e *pb.Entry) (engine.Fact, error) {
	switch f := e.GetFact().(type) {
	case *pb.Entry_WeighIn:
		m, err := massFromProto(f.WeighIn.GetWeight(), "weigh_in.weight", minWeightKg, maxWeightKg)
		return engine.WeighIn{Weight: m, MinuteOfDay: optIntFromProto(f.WeighIn.MinuteOfDay)}, err
	case *pb.Entry_Intake:
		i := f.Intake
		energy, err := energyFromProto(i.GetEnergy(), "intake.energy", maxIntakeKcal)
		return engine.Intake{
			Energy: energy, ProteinG: optFromProto(i.ProteinG), CarbG: optFromProto(i.CarbohydrateG),
			FatG: optFromProto(i.FatG), SodiumMg: optFromProto(i.SodiumMg), IsPartial: i.GetIsPartial(),
		}, err
	case *pb.Entry_Activity:
		a := engine.Activity{Steps: optIntFromProto(f.Activity.Steps), Minutes: optFromProto(f.Activity.Minutes)}
		if f.Activity.GetEnergy() == nil {
			if !a.Steps.OK && !a.Minutes.OK {
				return nil, fault.InvalidField("activity", "at least one of steps, energy and minutes must be given")
			}
			return a, nil
		}
		energy, err := energyFromProto(f.Activity.GetEnergy(), "activity.energy", maxActivityKcal)
		a.Energy = energy
		return a, err
	case *pb.Entry_LiftSet:
		s := f.LiftSet
		load, err := massFromProto(s.GetLoad(), "lift_set.load", 0, maxLoadKg)
		return engine.LiftSet{Lift: s.GetLift(), Load: load, Reps: int(s.GetReps()), RepsInReserve: optFromProto(s.RepsInReserve)}, err
	case *pb.Entry_Tape:
		t := f.Tape
		return engine.Tape{
			WaistCm: optFromProto(t.WaistCm), AbdomenCm: optFromProto(t.AbdomenCm), HipCm: optFromProto(t.HipCm),
			NeckCm: optFromProto(t.NeckCm), ChestCm: optFromProto(t.ChestCm), ThighCm: optFromProto(t.ThighCm),
			UpperArmCm: optFromProto(t.UpperArmCm),
		}, nil
	case *pb.Entry_BodyFat:
		return engine.BodyFat{Pct: f.BodyFat.GetBodyFatPct(), Method: engine.BodyFatMethod(f.BodyFat.GetMethod())}, nil
	case *pb.Entry_CheckIn:
		c := f.CheckIn
		return engine.CheckIn{
			HungerEase: int(c.GetHungerEase()), Energy: int(c.GetEnergy()), Sleep: int(c.GetSleep()),
			TrainingDrive: int(c.GetTrainingDrive()), WasSlog: answerFromProto(c.WasSlog),
		}, nil
	case *pb.Entry_PhotoSet:
		return engine.PhotoSet{Reference: f.PhotoSet.GetReference()}, nil
	case *pb.Entry_Mark:
		return engine.Mark{Of: engine.MarkKind(f.Mark.GetOf()), TargetKcal: optFromProto(f.Mark.TargetKcal)}, nil
	}
	return nil, fault.InvalidField("fact", "exactly one of weigh_in, intake, activity, lift_set, tape, body_fat, check_in, photo_set and mark must be given")
}

// EntryToProto writes a stored entry.
func EntryToProto(trainee string, e engine.Entry) *pb.Entry {
	out := &pb.Entry{Name: EntryName(trainee, e.ID()), Date: DayToProto(e.Day), Key: e.Key, Note: e.Note}
	switch f := e.Fact.(type) {
	case engine.WeighIn:
		out.Fact = &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{
			Weight: massToProto(f.Weight), WeightKg: optToProto(f.Weight.Kg()), MinuteOfDay: optIntToProto(f.MinuteOfDay),
		}}
	case engine.Intake:
		out.Fact = &pb.Entry_Intake{Intake: &pb.Intake{
			Energy: energyToProto(f.Energy), EnergyKcal: optToProto(f.Energy.Kcal()), ProteinG: optToProto(f.ProteinG),
			CarbohydrateG: optToProto(f.CarbG), FatG: optToProto(f.FatG), SodiumMg: optToProto(f.SodiumMg), IsPartial: f.IsPartial,
		}}
	case engine.Activity:
		out.Fact = &pb.Entry_Activity{Activity: &pb.Activity{
			Steps: optIntToProto(f.Steps), Energy: energyToProto(f.Energy), EnergyKcal: optToProto(f.Energy.Kcal()), Minutes: optToProto(f.Minutes),
		}}
	case engine.LiftSet:
		out.Fact = &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
			Lift: f.Lift, Load: massToProto(f.Load), LoadKg: optToProto(f.Load.Kg()), Reps: int32(f.Reps), RepsInReserve: optToProto(f.RepsInReserve),
		}}
	case engine.Tape:
		out.Fact = &pb.Entry_Tape{Tape: &pb.Tape{
			WaistCm: optToProto(f.WaistCm), AbdomenCm: optToProto(f.AbdomenCm), HipCm: optToProto(f.HipCm), NeckCm: optToProto(f.NeckCm),
			ChestCm: optToProto(f.ChestCm), ThighCm: optToProto(f.ThighCm), UpperArmCm: optToProto(f.UpperArmCm),
		}}
	case engine.BodyFat:
		out.Fact = &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{BodyFatPct: f.Pct, Method: pb.BodyFatMethod(f.Method)}}
	case engine.CheckIn:
		out.Fact = &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{
			HungerEase: scoreToProto(f.HungerEase), Energy: scoreToProto(f.Energy), Sleep: scoreToProto(f.Sleep),
			TrainingDrive: scoreToProto(f.TrainingDrive), WasSlog: answerToProto(f.WasSlog),
		}}
	case engine.PhotoSet:
		out.Fact = &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: f.Reference}}
	case engine.Mark:
		out.Fact = &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind(f.Of), TargetKcal: optToProto(f.TargetKcal)}}
	}
	return out
}

// KindsFromProto reads a list of kinds.
func KindsFromProto(kinds []pb.EntryKind) []engine.Kind {
	out := make([]engine.Kind, len(kinds))
	for i, k := range kinds {
		out[i] = engine.Kind(k)
	}
	return out
}

func massFromProto(m *pb.Mass, field string, minKg, maxKg float64) (engine.Mass, error) {
	mass := engine.Mass{Value: m.GetValue(), Unit: engine.MassUnit(m.GetUnit())}
	if u := m.GetUnit(); u < pb.MassUnit_MASS_UNIT_KILOGRAM || u > pb.MassUnit_MASS_UNIT_STONE {
		return mass, fault.InvalidField(field+".unit", "must be a known unit of mass")
	}
	if kg := mass.Kg(); !(kg.OK && kg.V >= minKg && kg.V <= maxKg) {
		return mass, fault.InvalidField(field+".value", "must be from %g to %g kg", minKg, maxKg)
	}
	return mass, nil
}

func massToProto(m engine.Mass) *pb.Mass {
	return &pb.Mass{Value: m.Value, Unit: pb.MassUnit(m.Unit)}
}

func energyFromProto(e *pb.Energy, field string, maxKcal float64) (engine.Energy, error) {
	energy := engine.Energy{Value: e.GetValue(), Unit: engine.EnergyUnit(e.GetUnit())}
	if u := e.GetUnit(); u < pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE || u > pb.EnergyUnit_ENERGY_UNIT_KILOJOULE {
		return energy, fault.InvalidField(field+".unit", "must be a known unit of energy")
	}
	if kcal := energy.Kcal(); !(kcal.OK && kcal.V >= 0 && kcal.V <= maxKcal) {
		return energy, fault.InvalidField(field+".value", "must be from 0 to %g kcal", maxKcal)
	}
	return energy, nil
}

func energyToProto(e engine.Energy) *pb.Energy {
	if e.Unit == engine.EnergyUnitUnspecified {
		return nil
	}
	return &pb.Energy{Value: e.Value, Unit: pb.EnergyUnit(e.Unit)}
}

func scoreToProto(score int) *int32 {
	if score == 0 {
		return nil
	}
	v := int32(score)
	return &v
}

func answerFromProto(p *bool) engine.Answer {
	switch {
	case p == nil:
		return engine.Unanswered
	case *p:
		return engine.Yes
	}
	return engine.No
}

func answerToProto(a engine.Answer) *bool {
	if a == engine.Unanswered {
		return nil
	}
	yes := a == engine.Yes
	return &yes
}
