package phase

import (
	"math"
	"reflect"
	"testing"

	"example.com/steelyard/engine"
)

// TestSinceAnything_KeepsAllThatSaysSomething: the window begins with the first
// day of the log, of the plan or of a target, and never after its last day.
func TestSinceAnything_KeepsAllThatSaysSomething(t *testing.T) {
	const first, days = engine.Day(1000), 30
	for _, c := range []struct {
		name            string
		log, plan, from engine.Day // -1: none
		want            engine.Day
	}{
		{"log first", 1010, 1015, 1020, 1010},
		{"plan first", 1010, 1004, 1020, 1004},
		{"target first", 1010, 1015, 1003, 1003},
		{"no decision", 1010, 1015, -1, 1010},
		{"no log", -1, 1015, -1, 1015},
		{"nothing in the window", -1, 1100, 1100, 1030},
		{"all before the window", -1, 900, 910, 1000},
		{"log from the first day", 1000, 1015, 1020, 1000},
	} {
		w := engine.Window{First: first, Days: make([]engine.WindowDay, days)}
		if c.log >= 0 {
			w.Days[c.log-first].HasPhotos = true // any field will do
		}
		plan := engine.DefaultPlan(c.plan)
		if c.from >= 0 {
			plan.Decisions = []engine.Decision{{From: c.from}}
		}
		if got := sinceAnything(w, plan); got.First != c.want || got.End() != w.End() {
			t.Errorf("%s: from %d to %d, want from %d to %d", c.name, got.First, got.End(), c.want, w.End())
		}
	}
}

// TestRecommend_DaysBeforeAnythingChangeNothing: neither the answer nor what it
// rests on.
func TestRecommend_DaysBeforeAnythingChangeNothing(t *testing.T) {
	for seed := range uint64(20) {
		p := cutting(seed, 40)
		p.morning()
		want := Recommend(p.window, p.profile, p.plan, p.today())
		padded := engine.Window{First: p.window.First - 300, Days: append(make([]engine.WindowDay, 300), p.window.Days...)}
		if got := Recommend(padded, p.profile, p.plan, p.today()); !reflect.DeepEqual(got, want) {
			t.Errorf("seed %d: %+v, want %+v", seed, got, want)
		}
	}
}

// TestIsEmpty_SeesEveryField, as engine.WindowDay.IsEmpty does: each alone, and a
// number that lies where none is known.
func TestIsEmpty_SeesEveryField(t *testing.T) {
	var d engine.WindowDay
	if !isEmpty(&d) {
		t.Error("an empty day is not empty")
	}
	fields := 0
	var each func(path string, v reflect.Value)
	each = func(path string, v reflect.Value) {
		if v.Kind() == reflect.Struct {
			for i := range v.NumField() {
				each(path+"."+v.Type().Field(i).Name, v.Field(i))
			}
			return
		}
		fields++
		switch v.Kind() {
		case reflect.Float64:
			v.SetFloat(math.SmallestNonzeroFloat64)
		case reflect.Bool:
			v.SetBool(true)
		case reflect.Int:
			v.SetInt(math.MinInt64)
		case reflect.Uint8, reflect.Uint16:
			v.SetUint(1)
		default:
			t.Fatalf("%s: a field of type %s is new to this test", path, v.Type())
		}
		if isEmpty(&d) || d.IsEmpty() {
			t.Errorf("a day with %s is empty", path)
		}
		v.SetZero()
	}
	each("day", reflect.ValueOf(&d).Elem())
	if fields < 20 {
		t.Errorf("only %d fields", fields)
	}
	if d.WeightKg.V = math.Copysign(0, -1); !isEmpty(&d) || !d.IsEmpty() {
		t.Error("a zero with a sign is something")
	}
}
