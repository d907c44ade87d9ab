package rows

import (
	"encoding/hex"
	"math"
	"reflect"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// fullDay has everything.
var fullDay = rollup.Day(5, []engine.Entry{
	{Day: 5, Key: "1", Fact: engine.WeighIn{Weight: engine.Mass{Value: 154, Unit: engine.Pound}}},
	{Day: 5, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(1900), ProteinG: engine.Some(140)}},
	{Day: 5, Key: "1", Fact: engine.Activity{Steps: engine.Some(0), Energy: engine.Kcal(300)}},
	{Day: 5, Key: "1", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 5}},
	{Day: 5, Key: "2", Fact: engine.LiftSet{Lift: "row", Reps: 5}},
	{Day: 5, Key: "1", Fact: engine.Tape{WaistCm: engine.Some(80)}},
	{Day: 5, Key: "2", Fact: engine.Tape{}},
	{Day: 5, Key: "1", Fact: engine.BodyFat{Pct: 25}},
	{Day: 5, Key: "2", Fact: engine.BodyFat{}},
	{Day: 5, Key: "1", Fact: engine.CheckIn{Sleep: 3, WasSlog: engine.Yes}},
	{Day: 5, Key: "1", Fact: engine.PhotoSet{}},
	{Day: 5, Key: "1", Fact: engine.Mark{Of: engine.MarkRefeed, TargetKcal: engine.Some(2600)}},
	{Day: 5, Key: "2", Fact: engine.Mark{Of: 15}},
})

// read returns the window from day 3 on with day 5 as it is stored.
func read(t *testing.T, stored []byte) (engine.Window, error) {
	t.Helper()
	w := engine.Window{First: 3}
	err := DecodeDay(stored, 5, &w)
	return w, err
}

// wantDay fails unless that is what is stored of day 5.
func wantDay(t *testing.T, stored []byte, want rollup.Result) {
	t.Helper()
	got, err := read(t, stored)
	w := engine.Window{First: 3, Days: []engine.WindowDay{{}, {}, want.Row}, Lifts: want.Lifts, BodyFat: want.BodyFat, Tapes: want.Tapes}
	if err != nil || !reflect.DeepEqual(got, w) {
		t.Errorf("%x is read as %+v (%v), want %+v", stored, got, err, w)
	}
}

// The stored form of a day. A file written by any version must be read by every
// later one: add cases here, never change one.
func TestStoredDay(t *testing.T) {
	for _, c := range []struct {
		day    rollup.Result
		packed string
	}{
		{fullDay, "0101bd4ef23c9b76514002c2f7e701c28b1102c2cf2482800282b1bd020100000600010105707265737301565555555555474002020103726f770002020001d1860300010000000182e20900000000000001"},
		{rollup.Result{}, "01"},
		{rollup.Result{Row: engine.WindowDay{WeightKg: engine.Some(80.3), Readings: 1, IntakeKcal: engine.Some(1900), Steps: engine.Some(9000)}}, "01dae60902c2f7e7010082d1ca08"},
		{rollup.Result{Row: engine.WindowDay{CheckIn: engine.CheckIn{WasSlog: engine.No}}}, "010000000000000000000000000002"},
		{rollup.Result{Lifts: fullDay.Lifts}, "0100000000000000000000000000000105707265737301565555555555474002020103726f77000202"},
		{rollup.Result{BodyFat: fullDay.BodyFat}, "0100000000000000000000000000000001d186030001"},
		{rollup.Result{Tapes: fullDay.Tapes[1:]}, "010000000000000000000000000000000001"},
	} {
		stored, err := AppendDay(nil, c.day)
		if err != nil || hex.EncodeToString(stored) != c.packed {
			t.Errorf("%+v is stored as %x (%v), want %s", c.day, stored, err, c.packed)
		}
		wantDay(t, stored, c.day)
		wantDay(t, append(stored, make([]byte, 200)...)[:len(stored)+200], c.day) // zeros at the end say nothing
	}
}

// Days are appended with those between that nothing is known of, and names of
// lifts that come again share their text, and no others do.
func TestDaysOfAWindow(t *testing.T) {
	w := engine.Window{First: 10}
	name := func(d engine.Day) string { return []string{"press", "row", "pressing"}[d%3] }
	for d := engine.Day(20); d < 20+2*usualDays; d += 2 {
		stored, err := AppendDay(nil, rollup.Result{Row: engine.WindowDay{Readings: int(d)}, Lifts: []engine.LiftDay{{Day: d, Lift: name(d), Sets: int(d)}}})
		if err != nil {
			t.Fatal(err)
		}
		if err := DecodeDay(stored, d, &w); err != nil || w.End() != d+1 {
			t.Fatalf("day %d: the window ends before %d, %v", d, w.End(), err)
		}
	}
	for i, l := range w.Lifts {
		if d := engine.Day(20 + 2*i); l.Lift != name(d) || l.Day != d || l.Sets != int(d) || w.At(d).Readings != int(d) || !w.At(d-1).IsEmpty() {
			t.Errorf("lift %d is %+v of %+v", i, l, w.At(d))
		}
	}
}

func TestMalformedDays(t *testing.T) {
	if got, err := AppendDay(nil, rollup.Result{Row: engine.WindowDay{ProteinG: engine.Some(math.NaN())}}); err == nil {
		t.Errorf("not a number is stored as %x", got)
	}
	for _, stored := range []string{"", "\x00", "{}", "\x02", "\x01\x80", "\x01\x00\x00\x00\x00\x00\x00\x80\x80\x04"} { // cut; a mark that is none
		if w, err := read(t, []byte(stored)); err == nil {
			t.Errorf("%q is read as %+v", stored, w)
		}
	}
}

// Whatever is stored, reading gives a day or an error, and no more than its bytes say.
func FuzzDecodeDay(f *testing.F) {
	stored, err := AppendDay(nil, fullDay)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(stored)
	f.Fuzz(func(t *testing.T, stored []byte) {
		w, err := read(t, stored)
		if err != nil {
			return
		}
		if len(w.Lifts)+len(w.BodyFat)+len(w.Tapes) > len(stored) {
			t.Fatalf("%x: more things than bytes", stored)
		}
		r := rollup.Result{Row: w.At(5), Lifts: w.Lifts, BodyFat: w.BodyFat, Tapes: w.Tapes}
		again, err := AppendDay(nil, r)
		if err != nil {
			t.Fatal(err)
		}
		wantDay(t, again, r)
	})
}
