package rows

import (
	"reflect"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// fullDay has all that few days have.
var fullDay = rollup.Day(5, []engine.Entry{
	{Day: 5, Key: "1", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 5}},
	{Day: 5, Key: "2", Fact: engine.LiftSet{Lift: "row", Reps: 5}},
	{Day: 5, Key: "1", Fact: engine.Tape{WaistCm: engine.Some(80)}},
	{Day: 5, Key: "2", Fact: engine.Tape{}},
	{Day: 5, Key: "1", Fact: engine.BodyFat{Pct: 25}},
	{Day: 5, Key: "2", Fact: engine.BodyFat{}},
	{Day: 5, Key: "1", Fact: engine.CheckIn{Sleep: 3, WasSlog: engine.Yes}},
})

// wantDay fails unless that is what is stored of it.
func wantDay(t *testing.T, stored []byte, want rollup.Result) {
	t.Helper()
	var row engine.WindowDay
	var w engine.Window
	if err := DecodeSparse(stored, 5, &row, &w); err != nil {
		t.Fatalf("%q: %v", stored, err)
	}
	got := rollup.Result{Row: engine.WindowDay{CheckIn: row.CheckIn}, Lifts: w.Lifts, BodyFat: w.BodyFat, Tapes: w.Tapes}
	want.Row = engine.WindowDay{CheckIn: want.Row.CheckIn}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%q is read as %+v, want %+v", stored, got, want)
	}
}

// A day that has none of what few days have stores nothing of it.
func TestStoredSparse(t *testing.T) {
	plain := rollup.Day(5, []engine.Entry{{Day: 5, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(70)}}})
	if stored, err := AppendSparse(nil, plain); err != nil || stored != nil {
		t.Errorf("stored as %q, %v", stored, err)
	}
	stored, err := AppendSparse(nil, fullDay)
	if err != nil {
		t.Fatal(err)
	}
	wantDay(t, stored, fullDay)
	for _, part := range []rollup.Result{
		{Row: engine.WindowDay{CheckIn: engine.CheckIn{WasSlog: engine.No}}}, {Lifts: fullDay.Lifts}, {BodyFat: fullDay.BodyFat}, {Tapes: fullDay.Tapes[1:]},
	} {
		stored, err := AppendSparse(nil, part)
		if err != nil {
			t.Fatal(err)
		}
		wantDay(t, stored, part)
	}
}

// As it was written before it was packed.
func TestStoredSparseJSON(t *testing.T) {
	wantDay(t, []byte(`{"check_in":{"sleep":3,"was_slog":1},"lifts":[{"lift":"press","best_e1rm_kg":46.66666666666667,"sets":1,"hard_sets":1},`+
		`{"lift":"row","sets":1,"hard_sets":1}],"body_fat":[{"pct":25},{"pct":0}],"tapes":[{"waist_cm":80},{}]}`), fullDay)
}

// Names of lifts that come again share their text, and no others do.
func TestLiftsShareTheirText(t *testing.T) {
	var w engine.Window
	for d := range engine.Day(40) {
		stored, err := AppendSparse(nil, rollup.Result{Lifts: []engine.LiftDay{{Day: d, Lift: []string{"press", "row", "pressing"}[d%3], Sets: int(d)}}})
		if err != nil {
			t.Fatal(err)
		}
		var row engine.WindowDay
		if err := DecodeSparse(stored, d, &row, &w); err != nil {
			t.Fatal(err)
		}
	}
	for i, l := range w.Lifts {
		if want := []string{"press", "row", "pressing"}[i%3]; l.Lift != want || l.Sets != i || l.Day != engine.Day(i) {
			t.Errorf("lift %d is %+v", i, l)
		}
	}
}

// Whatever is stored, reading gives a day or an error.
func FuzzDecodeSparse(f *testing.F) {
	stored, err := AppendSparse(nil, fullDay)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(stored)
	f.Add([]byte(`{"lifts":[{"lift":"press","sets":1}]}`))
	f.Fuzz(func(t *testing.T, stored []byte) {
		var r rollup.Result
		var w engine.Window
		if DecodeSparse(stored, 5, &r.Row, &w) != nil {
			return
		}
		r.Lifts, r.BodyFat, r.Tapes = w.Lifts, w.BodyFat, w.Tapes
		if len(w.Lifts)+len(w.BodyFat)+len(w.Tapes) > len(stored) {
			t.Fatalf("%x: more things than bytes", stored)
		}
		again, err := AppendSparse(nil, r)
		if err != nil {
			t.Fatal(err)
		}
		if len(again) > 0 {
			wantDay(t, again, r)
		}
	})
}
