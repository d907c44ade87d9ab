package convert_test

import (
	"errors"
	"maps"
	"math"
	"slices"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
)

// TestEntry_RoundTrip: an entry of any kind reads back as it was given, with its
// name, its key and what only the service writes filled in; and it reads in
// again as the same engine entry.
func TestEntry_RoundTrip(t *testing.T) {
	fixSeed(t)
	kinds := (&pb.Entry{}).ProtoReflect().Descriptor().Oneofs().ByName("fact").Fields()
	for i := range kinds.Len() {
		kind := string(kinds.Get(i).Name())
		t.Run(kind, func(t *testing.T) {
			draw, ok := facts[kind]
			if !ok {
				t.Fatalf("this test draws no %s", kind)
			}
			rapid.Check(t, func(t *rapid.T) {
				given, want := draw(t)
				given, want = proto.Clone(given).(*pb.Entry), proto.Clone(want).(*pb.Entry)
				given.Date, given.Key, given.Note = dates.Draw(t, "date"), keys.Draw(t, "key"), texts.Draw(t, "note")
				given.Name = texts.Draw(t, "ignored name")
				trainee := ids.Draw(t, "trainee")

				entry, err := convert.EntryFromProto(given, lastDay)
				if err != nil {
					t.Fatalf("%v is refused: %v", given, err)
				}
				want.Date, want.Key, want.Note = given.Date, given.Key, given.Note
				if want.Key == "" {
					want.Key = "1"
				}
				want.Name = convert.EntryName(trainee, entry.ID())
				got := convert.EntryToProto(trainee, entry)
				if !proto.Equal(got, want) {
					t.Fatalf("given %v\ngot   %v\nwant  %v", given, got, want)
				}
				if string(got.ProtoReflect().WhichOneof(kinds.Get(i).ContainingOneof()).Name()) != kind {
					t.Fatalf("a %s became %v", kind, got)
				}
				again, err := convert.EntryFromProto(got, lastDay)
				if err != nil || again != entry {
					t.Fatalf("what was answered reads as %+v, %v, want %+v", again, err, entry)
				}
				if id, err := convert.EntryIDFrom(got.GetName(), "name"); err != nil || id != entry.ID() {
					t.Fatalf("the name %s reads as %+v, %v", got.GetName(), id, err)
				}
			})
		})
	}
	if len(facts) != kinds.Len() {
		t.Errorf("draws %d kinds, the contract has %d", len(facts), kinds.Len())
	}
}

// TestEntry_EveryFieldIsCarried fills each field of each fact with a value of
// its own: a field that the conversion forgets or mixes up would differ.
func TestEntry_EveryFieldIsCarried(t *testing.T) {
	kinds := (&pb.Entry{}).ProtoReflect().Descriptor().Oneofs().ByName("fact").Fields()
	for i := range kinds.Len() {
		e := &pb.Entry{Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Key: "k", Note: "n"}
		fill(e.ProtoReflect().Mutable(kinds.Get(i)).Message(), 3)
		entry, err := convert.EntryFromProto(e, lastDay)
		if err != nil {
			t.Errorf("%s: %v", kinds.Get(i).Name(), err)
			continue
		}
		got := convert.EntryToProto("t1", entry).ProtoReflect().Get(kinds.Get(i)).Message()
		got.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			if f.Name() == "weight_kg" || f.Name() == "energy_kcal" || f.Name() == "load_kg" {
				got.Clear(f)
			}
			return true
		})
		want := e.ProtoReflect().Get(kinds.Get(i)).Message()
		want.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			if f.Name() == "weight_kg" || f.Name() == "energy_kcal" || f.Name() == "load_kg" {
				want.Clear(f)
			}
			return true
		})
		if !proto.Equal(got.Interface(), want.Interface()) {
			t.Errorf("got  %v\nwant %v", got, want)
		}
	}
}

// fill sets each field to a small value that differs from its neighbour's.
func fill(m protoreflect.Message, n int) int {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		n++
		switch f.Kind() {
		case protoreflect.MessageKind:
			n = fill(m.Mutable(f).Message(), n+20)
		case protoreflect.DoubleKind:
			m.Set(f, protoreflect.ValueOfFloat64(float64(n)))
		case protoreflect.Int32Kind:
			m.Set(f, protoreflect.ValueOfInt32(int32(n)))
		case protoreflect.BoolKind:
			m.Set(f, protoreflect.ValueOfBool(true))
		case protoreflect.StringKind:
			m.Set(f, protoreflect.ValueOfString("text"))
		case protoreflect.EnumKind:
			m.Set(f, protoreflect.ValueOfEnum(1))
		}
	}
	return n
}

// TestMass_ExactValues: the pound is exactly 0.45359237 kg (International Yard
// and Pound agreement of 1959) and a stone 14 of them; the limits hold after
// conversion and are inclusive.
func TestMass_ExactValues(t *testing.T) {
	const kg, lb, st = pb.MassUnit_MASS_UNIT_KILOGRAM, pb.MassUnit_MASS_UNIT_POUND, pb.MassUnit_MASS_UNIT_STONE
	for _, c := range []struct {
		value float64
		unit  pb.MassUnit
		kg    float64 // 0 when it is refused
		field string
	}{
		{80.5, kg, 80.5, ""},
		{100, lb, 45.359237, ""},
		{200, lb, 90.718474, ""},
		{10, st, 63.5029318, ""},
		{12.5, st, 79.37866475, ""},
		{20, kg, 20, ""},
		{400, kg, 400, ""},
		{math.Nextafter(20, 0), kg, 0, "weigh_in.weight.value"},
		{math.Nextafter(400, 500), kg, 0, "weigh_in.weight.value"},
		{44.09, lb, 0, "weigh_in.weight.value"}, // 19.9989 kg
		{44.1, lb, 20.003423517, ""},
		{881.8, lb, 399.977751866, ""},
		{881.9, lb, 0, "weigh_in.weight.value"}, // 400.023 kg
		{62.98, st, 399.9414644764, ""},
		{63, st, 0, "weigh_in.weight.value"}, // 400.068 kg
		{math.NaN(), kg, 0, "weigh_in.weight.value"},
		{math.Inf(1), lb, 0, "weigh_in.weight.value"},
		{math.MaxFloat64, st, 0, "weigh_in.weight.value"},
		{-80, kg, 0, "weigh_in.weight.value"},
		{80, 0, 0, "weigh_in.weight.unit"},
		{80, 4, 0, "weigh_in.weight.unit"},
		{80, 257, 0, "weigh_in.weight.unit"}, // 1 when cut to eight bits
		{80, -255, 0, "weigh_in.weight.unit"},
	} {
		e := &pb.Entry{Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: c.value, Unit: c.unit}}}}
		entry, err := convert.EntryFromProto(e, lastDay)
		if c.field != "" {
			if got := fieldOf(err); got != c.field {
				t.Errorf("%v %v: %v, want %s refused", c.value, c.unit, err, c.field)
			}
			continue
		}
		if err != nil {
			t.Errorf("%v %v: %v", c.value, c.unit, err)
			continue
		}
		got := convert.EntryToProto("t1", entry).GetWeighIn()
		if math.Abs(got.GetWeightKg()-c.kg) > 1e-13*c.kg || got.GetWeight().GetValue() != c.value || got.GetWeight().GetUnit() != c.unit {
			t.Errorf("%v %v: %v, want %v kg and the reading as it was", c.value, c.unit, got, c.kg)
		}
	}
}

// TestLoad_Limits: a load may be nothing (body weight alone), 1000 kg at most.
func TestLoad_Limits(t *testing.T) {
	for load, field := range map[*pb.Mass]string{
		{Value: 0, Unit: 1}: "", {Value: 1000, Unit: 1}: "", {Value: 2204.6, Unit: 2}: "", {Value: 60, Unit: 2}: "",
		{Value: 1000.1, Unit: 1}: "lift_set.load.value", {Value: 2204.7, Unit: 2}: "lift_set.load.value", {Value: -1, Unit: 1}: "lift_set.load.value",
		{Value: math.NaN(), Unit: 1}: "lift_set.load.value", {Value: math.Inf(1), Unit: 3}: "lift_set.load.value", {Value: math.MaxFloat64, Unit: 3}: "lift_set.load.value",
		{Value: 60}: "lift_set.load.unit", nil: "lift_set.load.unit",
	} {
		e := &pb.Entry{Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: "press", Load: load, Reps: 5}}}
		if _, err := convert.EntryFromProto(e, lastDay); fieldOf(err) != field || (err == nil) != (field == "") {
			t.Errorf("%v: %v, want %q refused", load, err, field)
		}
	}
}

// TestEnergy_ExactValues: 4.184 kJ are exactly 1 kcal (thermochemical calorie).
func TestEnergy_ExactValues(t *testing.T) {
	const kc, kj = pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE, pb.EnergyUnit_ENERGY_UNIT_KILOJOULE
	for _, c := range []struct {
		value         float64
		unit          pb.EnergyUnit
		kcal          float64
		intakeOK      bool
		activityOK    bool
		intakeField   string
		activityField string
	}{
		{2000, kc, 2000, true, true, "", ""},
		{8368, kj, 2000, true, true, "", ""},
		{4.184, kj, 1, true, true, "", ""},
		{0, kj, 0, true, true, "", ""},
		{10000, kc, 10000, true, true, "", ""},
		{10001, kc, 10001, true, false, "", "activity.energy.value"},
		{41840, kj, 10000, true, true, "", ""},
		{20000, kc, 20000, true, false, "", "activity.energy.value"},
		{83680, kj, 20000, true, false, "", "activity.energy.value"},
		{20000.5, kc, 0, false, false, "intake.energy.value", "activity.energy.value"},
		{83685, kj, 0, false, false, "intake.energy.value", "activity.energy.value"},
		{-1, kc, 0, false, false, "intake.energy.value", "activity.energy.value"},
		{math.NaN(), kc, 0, false, false, "intake.energy.value", "activity.energy.value"},
		{math.Inf(1), kj, 0, false, false, "intake.energy.value", "activity.energy.value"},
		{2000, 0, 0, false, false, "intake.energy.unit", "activity.energy.unit"},
		{2000, 3, 0, false, false, "intake.energy.unit", "activity.energy.unit"},
		{2000, 257, 0, false, false, "intake.energy.unit", "activity.energy.unit"},
	} {
		energy, day := &pb.Energy{Value: c.value, Unit: c.unit}, &date.Date{Year: 2026, Month: 3, Day: 1}
		entry, err := convert.EntryFromProto(&pb.Entry{Date: day, Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: energy}}}, lastDay)
		if (err == nil) != c.intakeOK || fieldOf(err) != c.intakeField {
			t.Errorf("intake of %v %v: %v", c.value, c.unit, err)
		} else if err == nil && convert.EntryToProto("t1", entry).GetIntake().GetEnergyKcal() != c.kcal {
			t.Errorf("intake of %v %v: %v, want %v kcal", c.value, c.unit, convert.EntryToProto("t1", entry), c.kcal)
		}
		entry, err = convert.EntryFromProto(&pb.Entry{Date: day, Fact: &pb.Entry_Activity{Activity: &pb.Activity{Energy: energy}}}, lastDay)
		if (err == nil) != c.activityOK || fieldOf(err) != c.activityField {
			t.Errorf("activity of %v %v: %v", c.value, c.unit, err)
		} else if err == nil && convert.EntryToProto("t1", entry).GetActivity().GetEnergyKcal() != c.kcal {
			t.Errorf("activity of %v %v: %v, want %v kcal", c.value, c.unit, convert.EntryToProto("t1", entry), c.kcal)
		}
	}
}

func TestEntry_Days(t *testing.T) {
	for _, c := range []struct {
		date *date.Date
		ok   bool
	}{
		{&date.Date{Year: 1970, Month: 1, Day: 1}, true},
		{&date.Date{Year: 2026, Month: 3, Day: 2}, true}, // the last day
		{&date.Date{Year: 2024, Month: 2, Day: 29}, true},
		{&date.Date{Year: 2026, Month: 3, Day: 3}, false},
		{&date.Date{Year: 1969, Month: 12, Day: 31}, false},
		{&date.Date{Year: 2025, Month: 2, Day: 29}, false},
		{&date.Date{Year: 2025, Month: 13, Day: 1}, false},
		{&date.Date{Year: 2025, Month: 1}, false},
		{&date.Date{Month: 1, Day: 1}, false},
		{&date.Date{Year: -1, Month: 1, Day: 1}, false},
		{&date.Date{Year: math.MaxInt32, Month: 1, Day: 1}, false},
		{&date.Date{Year: math.MinInt32, Month: math.MinInt32, Day: math.MinInt32}, false},
		{nil, false},
	} {
		_, err := convert.EntryFromProto(&pb.Entry{Date: c.date, Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: "r"}}}, lastDay)
		if (err == nil) != c.ok || (!c.ok && fieldOf(err) != "date") {
			t.Errorf("%v: %v", c.date, err)
		}
	}
}

func TestEntry_WithoutAFactIsRefused(t *testing.T) {
	day := &date.Date{Year: 2026, Month: 3, Day: 1}
	if _, err := convert.EntryFromProto(&pb.Entry{Date: day}, lastDay); fieldOf(err) != "fact" {
		t.Errorf("no fact: %v", err)
	}
	if _, err := convert.EntryFromProto(&pb.Entry{Date: day, Fact: &pb.Entry_Activity{Activity: &pb.Activity{}}}, lastDay); fieldOf(err) != "activity" {
		t.Errorf("empty activity: %v", err)
	}
	for _, kind := range slices.Sorted(maps.Keys(facts)) { // a fact that is there and empty must not make anything up or panic
		e := &pb.Entry{Date: day}
		f := e.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(kind))
		e.ProtoReflect().Mutable(f)
		if entry, err := convert.EntryFromProto(e, lastDay); err == nil {
			got := convert.EntryToProto("t1", entry)
			got.ProtoReflect().Get(f).Message().Range(func(inside protoreflect.FieldDescriptor, v protoreflect.Value) bool {
				t.Errorf("an empty %s has %s = %v", kind, inside.Name(), v)
				return true
			})
		}
	}
}

func TestKinds(t *testing.T) {
	if got := convert.KindsFromProto([]pb.EntryKind{pb.EntryKind_ENTRY_KIND_MARK, pb.EntryKind_ENTRY_KIND_WEIGH_IN}); !slices.Equal(got, []engine.Kind{engine.KindMark, engine.KindWeighIn}) {
		t.Errorf("%v", got)
	}
	if got := convert.KindsFromProto(nil); len(got) != 0 {
		t.Errorf("%v", got)
	}
}

// fieldOf returns the field that an error names.
func fieldOf(err error) string {
	var invalid *fault.Invalid
	if errors.As(err, &invalid) {
		return invalid.Fields[0].Path
	}
	return ""
}
