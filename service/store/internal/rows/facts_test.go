package rows

import (
	"encoding/hex"
	"math"
	"reflect"
	"testing"

	"example.com/steelyard/engine"
)

// storedForms has the stored form of each kind of fact, packed and as it was
// before. A file written by any version must be read by every later one: add
// cases here, never change one.
var storedForms = func() []storedForm {
	some := engine.Some
	return []storedForm{
		{engine.WeighIn{Weight: engine.Kg(70.05), MinuteOfDay: some(435)}, "01c5c60801f28c35", `{"weight":{"v":70.05,"u":"kg"},"minute":435}`},
		{engine.WeighIn{Weight: engine.Mass{Value: 154, Unit: engine.Pound}}, "01a1e61202", `{"weight":{"v":154,"u":"lb"}}`},
		{engine.WeighIn{Weight: engine.Mass{Value: 11, Unit: engine.Stone}}, "01f1ab0103", `{"weight":{"v":11,"u":"st"}}`},
		{engine.WeighIn{}, "01", `{"weight":{"v":0}}`},
		{engine.WeighIn{Weight: engine.Kg(1.0 / 3)}, "0101555555555555d53f01", `{"weight":{"v":0.3333333333333333,"u":"kg"}}`},
		{engine.Intake{Energy: engine.Kcal(1900), ProteinG: some(140), CarbG: some(200), FatG: some(60), SodiumMg: some(2300), IsPartial: true},
			"01c1f7e70101c28b1182b518c2a907c2e1980201", `{"energy":{"v":1900,"u":"kcal"},"protein_g":140,"carb_g":200,"fat_g":60,"sodium_mg":2300,"partial":true}`},
		{engine.Intake{Energy: engine.Energy{Value: 8000, Unit: engine.Kilojoule}}, "0181c8d00702", `{"energy":{"v":8000,"u":"kJ"}}`},
		{engine.Activity{Steps: some(0), Energy: engine.Kcal(300), Minutes: some(45)},
			"0102c1cf240192bf05", `{"steps":0,"energy":{"v":300,"u":"kcal"},"minutes":45}`},
		{engine.Activity{}, "01", `{}`},
		{engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 5, RepsInReserve: some(0)},
			"0105707265737381f104010a02", `{"lift":"press","load":{"v":40,"u":"kg"},"reps":5,"reserve":0}`},
		{engine.Tape{WaistCm: some(1), AbdomenCm: some(2), HipCm: some(3), NeckCm: some(4), ChestCm: some(5), ThighCm: some(6), UpperArmCm: some(7)},
			"01d20fa21ff22ec23e924ee25db26d", `{"waist_cm":1,"abdomen_cm":2,"hip_cm":3,"neck_cm":4,"chest_cm":5,"thigh_cm":6,"upper_arm_cm":7}`},
		{engine.BodyFat{Pct: 25, Method: engine.BodyFatTape}, "01d1860304", `{"pct":25,"method":4}`},
		{engine.CheckIn{HungerEase: 1, Energy: 2, Sleep: 3, TrainingDrive: 4, WasSlog: engine.No},
			"010204060802", `{"hunger_ease":1,"energy":2,"sleep":3,"training_drive":4,"was_slog":2}`},
		{engine.CheckIn{}, "01", `{}`},
		{engine.PhotoSet{Reference: "album/1"}, "0107616c62756d2f31", `{"reference":"album/1"}`},
		{engine.PhotoSet{Reference: "\x00"}, "010100", `{"reference":"\u0000"}`}, // zeros of a text are not left out
		{engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2600)}, "010182b1bd02", `{"of":1,"target_kcal":2600}`},
		{engine.Mark{Of: engine.MarkMissedPeriod}, "0108", `{"of":8}`},
	}
}()

type storedForm struct {
	fact         engine.Fact
	packed, text string
}

func TestStoredForm(t *testing.T) {
	for _, c := range storedForms {
		packed, err := AppendFact(nil, c.fact)
		if err != nil || hex.EncodeToString(packed) != c.packed {
			t.Errorf("%+v is stored as %x (%v), want %s", c.fact, packed, err, c.packed)
		}
		for _, stored := range [][]byte{packed, []byte(c.text)} {
			fact, err := DecodeFact(c.fact.Kind(), stored)
			if err != nil || fact != c.fact {
				t.Errorf("%q is read as %+v (%v), want %+v", stored, fact, err, c.fact)
			}
		}
	}
}

// What a later version adds at the end does not stop this one.
func TestUnknownFieldsAreIgnored(t *testing.T) {
	fact := engine.WeighIn{Weight: engine.Kg(70), MinuteOfDay: engine.Some(0)}
	packed, err := AppendFact(nil, fact)
	if err != nil {
		t.Fatal(err)
	}
	for _, stored := range [][]byte{append(packed, 5, 'x'), []byte(`{"weight":{"v":70,"u":"kg"},"minute":0,"scale":"bathroom"}`)} {
		if got, err := DecodeFact(engine.KindWeighIn, stored); err != nil || got != fact {
			t.Errorf("%q is read as %+v, %v", stored, got, err)
		}
	}
}

// Facts are appended: what was there stays, also when a fact is refused.
func TestFactsAreAppended(t *testing.T) {
	one, err := AppendFact([]byte("x"), engine.WeighIn{})
	if err != nil || string(one) != "x\x01" {
		t.Errorf("%q, %v", one, err)
	}
	for _, f := range []engine.Fact{
		engine.WeighIn{Weight: engine.Kg(math.NaN())}, engine.Mark{TargetKcal: engine.Some(math.Inf(-1))},
		engine.WeighIn{Weight: engine.Mass{Value: 1, Unit: engine.Stone + 1}}, engine.Intake{Energy: engine.Energy{Unit: engine.Kilojoule + 1}},
		&engine.WeighIn{}, nil,
	} {
		if got, err := AppendFact(nil, f); err == nil {
			t.Errorf("%+v is stored as %x", f, got)
		}
	}
}

func TestMalformedRows(t *testing.T) {
	for _, stored := range []string{"", "\x00", "\x02\x01", "x", "[]", "{", `{"weight":{"v":1,"u":"cubit"}}`,
		"\x01\x02\x04", "\x01\xff", "\x01\x01\x00\x00\x00\x00\x00\x00\xf0\x7f\x01"} { // no such unit; cut; infinite
		if fact, err := DecodeFact(engine.KindWeighIn, []byte(stored)); err == nil {
			t.Errorf("%q is read as %+v", stored, fact)
		}
	}
	if fact, err := DecodeFact(engine.KindPhotoSet, []byte("\x01\x05abcd")); err == nil {
		t.Errorf("a text that is cut is read as %+v", fact)
	}
	if fact, err := DecodeFact(60, []byte("\x01")); err == nil {
		t.Errorf("of no kind: %+v", fact)
	}
}

// Whatever is stored, reading gives a fact or an error, and what was read is
// written as a row that reads the same.
func FuzzDecodeFact(f *testing.F) {
	for _, c := range storedForms {
		packed, err := AppendFact(nil, c.fact)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(byte(c.fact.Kind()), packed)
		f.Add(byte(c.fact.Kind()), []byte(c.text))
	}
	f.Fuzz(func(t *testing.T, kind byte, stored []byte) {
		fact, err := DecodeFact(engine.Kind(kind), stored)
		if err != nil {
			return
		}
		again, err := AppendFact(nil, fact)
		if err != nil {
			t.Fatalf("%x is read as %+v, which cannot be written: %v", stored, fact, err)
		}
		if got, err := DecodeFact(engine.Kind(kind), again); err != nil || !reflect.DeepEqual(got, fact) {
			t.Fatalf("%+v is written as %x and read as %+v, %v", fact, again, got, err)
		}
	})
}
