package convert_test

import (
	"flag"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"pgregory.net/rapid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

var (
	head    = store.Head{Incarnation: "00112233445566778899aabbccddeeff", Revision: 7}
	now     = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	lastDay = mustDay(2026, 3, 2)
)

func mustDay(y, m, d int) engine.Day {
	day, ok := engine.DayOf(y, m, d)
	if !ok {
		panic("no such day")
	}
	return day
}

// fixSeed makes rapid draw the same cases in each run, unless one was asked for.
func fixSeed(t *testing.T) {
	t.Helper()
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() == "0" {
		if err := seed.Value.Set("20260301"); err != nil {
			t.Fatal(err)
		}
	}
}

// optional draws a number that may be absent, and is 0 at times.
func optional(low, high float64) *rapid.Generator[*float64] {
	return rapid.Custom(func(t *rapid.T) *float64 {
		switch rapid.IntRange(0, 3).Draw(t, "how") {
		case 0:
			return nil
		case 1:
			return &low
		}
		v := rapid.Float64Range(low, high).Draw(t, "value")
		return &v
	})
}

func optionalInt(low, high int32) *rapid.Generator[*int32] {
	return rapid.Custom(func(t *rapid.T) *int32 {
		if rapid.Bool().Draw(t, "absent") {
			return nil
		}
		v := rapid.Int32Range(low, high).Draw(t, "value")
		return &v
	})
}

var (
	optionalBool = rapid.SampledFrom([]*bool{nil, new(bool), ptr(true)})
	dates        = rapid.Map(rapid.IntRange(0, int(lastDay)), func(n int) *date.Date { return convert.DayToProto(engine.Day(n)) })
	keys         = rapid.StringMatching(`([a-z0-9][a-z0-9-]{0,39})?`)
	ids          = rapid.StringMatching(`[a-z0-9][a-z0-9-]{0,62}`)
	texts        = rapid.StringN(0, 40, 120)
)

// targets draws a target as a caller sends it, with refeeds at times; what only
// the service writes is filled in too, to be passed over.
var targets = rapid.Custom(func(t *rapid.T) *pb.Target {
	out := &pb.Target{
		IntakeKcal: rapid.Float64Range(800, 8000).Draw(t, "intake"), ActivityKcal: rapid.Float64Range(0, 1000).Draw(t, "activity"),
		WeekdayIntakeKcal: optional(800, 8000).Draw(t, "ignored weekday"), WeekendIntakeKcal: optional(800, 8000).Draw(t, "ignored weekend"),
	}
	if rapid.Bool().Draw(t, "has refeeds") {
		out.RefeedEveryDays, out.RefeedIntakeKcal = ptr(rapid.Int32Range(3, 28).Draw(t, "every")), ptr(rapid.Float64Range(800, 8000).Draw(t, "refeed"))
	}
	return out
})

func ptr[T any](v T) *T { return &v }

// masses draws a mass whose value in kg lies within limits, in any unit.
func masses(lowKg, highKg float64) *rapid.Generator[*pb.Mass] {
	return rapid.Custom(func(t *rapid.T) *pb.Mass {
		unit := rapid.SampledFrom([]pb.MassUnit{pb.MassUnit_MASS_UNIT_KILOGRAM, pb.MassUnit_MASS_UNIT_POUND, pb.MassUnit_MASS_UNIT_STONE}).Draw(t, "unit")
		kg := rapid.Float64Range(lowKg, highKg*(1-1e-9)).Draw(t, "kg")
		return &pb.Mass{Value: kg / kgOf[unit] * (1 + 1e-12), Unit: unit}
	})
}

func energies(highKcal float64) *rapid.Generator[*pb.Energy] {
	return rapid.Custom(func(t *rapid.T) *pb.Energy {
		unit := rapid.SampledFrom([]pb.EnergyUnit{pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE, pb.EnergyUnit_ENERGY_UNIT_KILOJOULE}).Draw(t, "unit")
		return &pb.Energy{Value: rapid.Float64Range(0, highKcal).Draw(t, "energy"), Unit: unit}
	})
}

// facts draws an entry's fact, of each kind of the contract; want is how it
// reads back: as it was given, with what only the service writes filled in.
// What a caller puts there is passed over.
var facts = map[string]func(t *rapid.T) (given, want *pb.Entry){
	"weigh_in": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		w := &pb.WeighIn{Weight: masses(20, 400).Draw(t, "weight"), MinuteOfDay: optionalInt(0, 1439).Draw(t, "minute"), WeightKg: optional(0, 9).Draw(t, "ignored")}
		out := &pb.WeighIn{Weight: w.Weight, MinuteOfDay: w.MinuteOfDay, WeightKg: ptr(w.Weight.GetValue() * kgOf[w.Weight.GetUnit()])}
		return &pb.Entry{Fact: &pb.Entry_WeighIn{WeighIn: w}}, &pb.Entry{Fact: &pb.Entry_WeighIn{WeighIn: out}}
	},
	"intake": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		i := &pb.Intake{
			Energy: energies(20000).Draw(t, "energy"), EnergyKcal: optional(0, 9).Draw(t, "ignored"), ProteinG: optional(0, 1000).Draw(t, "protein"),
			CarbohydrateG: optional(0, 3000).Draw(t, "carbohydrate"), FatG: optional(0, 1500).Draw(t, "fat"), SodiumMg: optional(0, 50000).Draw(t, "sodium"),
			IsPartial: rapid.Bool().Draw(t, "partial"),
		}
		out := &pb.Intake{
			Energy: i.Energy, EnergyKcal: kcal(i.Energy), ProteinG: i.ProteinG, CarbohydrateG: i.CarbohydrateG, FatG: i.FatG, SodiumMg: i.SodiumMg, IsPartial: i.IsPartial,
		}
		return &pb.Entry{Fact: &pb.Entry_Intake{Intake: i}}, &pb.Entry{Fact: &pb.Entry_Intake{Intake: out}}
	},
	"activity": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		a := &pb.Activity{Steps: optionalInt(0, 200000).Draw(t, "steps"), Minutes: optional(0, 1440).Draw(t, "minutes"), EnergyKcal: optional(0, 9).Draw(t, "ignored")}
		if rapid.Bool().Draw(t, "has energy") || (a.Steps == nil && a.Minutes == nil) {
			a.Energy = energies(10000).Draw(t, "energy")
		}
		out := &pb.Activity{Steps: a.Steps, Energy: a.Energy, EnergyKcal: kcal(a.Energy), Minutes: a.Minutes}
		return &pb.Entry{Fact: &pb.Entry_Activity{Activity: a}}, &pb.Entry{Fact: &pb.Entry_Activity{Activity: out}}
	},
	"lift_set": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		s := &pb.LiftSet{
			Lift: rapid.StringMatching(`[a-z0-9][a-z0-9-]{0,39}`).Draw(t, "lift"), Load: masses(0, 1000).Draw(t, "load"), LoadKg: optional(0, 9).Draw(t, "ignored"),
			Reps: rapid.Int32Range(1, 200).Draw(t, "reps"), RepsInReserve: optional(0, 20).Draw(t, "reserve"),
		}
		out := &pb.LiftSet{Lift: s.Lift, Load: s.Load, LoadKg: ptr(s.Load.GetValue() * kgOf[s.Load.GetUnit()]), Reps: s.Reps, RepsInReserve: s.RepsInReserve}
		return &pb.Entry{Fact: &pb.Entry_LiftSet{LiftSet: s}}, &pb.Entry{Fact: &pb.Entry_LiftSet{LiftSet: out}}
	},
	"tape": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		cm := optional(10, 300)
		tape := &pb.Tape{
			WaistCm: cm.Draw(t, "waist"), AbdomenCm: cm.Draw(t, "abdomen"), HipCm: cm.Draw(t, "hip"), NeckCm: cm.Draw(t, "neck"),
			ChestCm: cm.Draw(t, "chest"), ThighCm: cm.Draw(t, "thigh"), UpperArmCm: cm.Draw(t, "arm"),
		}
		e := &pb.Entry{Fact: &pb.Entry_Tape{Tape: tape}}
		return e, e
	},
	"body_fat": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		e := &pb.Entry{Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{
			BodyFatPct: rapid.Float64Range(2, 70).Draw(t, "pct"), Method: pb.BodyFatMethod(rapid.Int32Range(1, int32(len(pb.BodyFatMethod_name)-1)).Draw(t, "method")),
		}}}
		return e, e
	},
	"check_in": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		score := optionalInt(1, 5)
		e := &pb.Entry{Fact: &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{
			HungerEase: score.Draw(t, "hunger"), Energy: score.Draw(t, "energy"), Sleep: score.Draw(t, "sleep"), TrainingDrive: score.Draw(t, "drive"),
			WasSlog: optionalBool.Draw(t, "slog"),
		}}}
		return e, e
	},
	"photo_set": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		e := &pb.Entry{Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: texts.Draw(t, "reference")}}}
		return e, e
	},
	"mark": func(t *rapid.T) (*pb.Entry, *pb.Entry) {
		e := &pb.Entry{Fact: &pb.Entry_Mark{Mark: &pb.Mark{
			Of: pb.MarkKind(rapid.Int32Range(1, int32(len(pb.MarkKind_name)-1)).Draw(t, "of")), TargetKcal: optional(0, 20000).Draw(t, "target"),
		}}}
		return e, e
	},
}

// kgOf is the contract's definition of its units of mass: the international
// avoirdupois pound is exactly 0.45359237 kg (International Yard and Pound
// agreement of 1959), a stone 14 of them, which is exactly 6.35029318 kg.
var kgOf = map[pb.MassUnit]float64{
	pb.MassUnit_MASS_UNIT_KILOGRAM: 1, pb.MassUnit_MASS_UNIT_POUND: 0.45359237, pb.MassUnit_MASS_UNIT_STONE: 6.35029318,
}

// kcal is the contract's definition: 4.184 kJ are exactly 1 kcal (the
// thermochemical calorie, 4.184 J).
func kcal(e *pb.Energy) *float64 {
	switch e.GetUnit() {
	case pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE:
		return ptr(e.GetValue())
	case pb.EnergyUnit_ENERGY_UNIT_KILOJOULE:
		return ptr(e.GetValue() / 4.184)
	}
	return nil
}
