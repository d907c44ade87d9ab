package balance

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// byPounds is a reading that was kept in pounds.
func byPounds(o engine.Opt) engine.Opt {
	const kgPerPound = 0.45359237 // exact: International Yard and Pound agreement, 1959
	if !o.OK {
		return o
	}
	return engine.Mass{Value: o.V / kgPerPound, Unit: engine.Pound}.Kg()
}

// The readings are decimals, many of them right on a bound: 30 kg, or 2.5 kg
// from the others.
func TestUnitOfTheScaleChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		base := 30 + float64(rapid.IntRange(0, 1700).Draw(t, "tenths"))/10
		for i := range in {
			off := []float64{0, 0, 0, 2.5, -2.5, 0.1, 10}[rapid.IntRange(0, 6).Draw(t, "off")]
			if in[i].WeightKg.OK {
				in[i].WeightKg.V = math.Round(10*(base+off)) / 10
			}
		}
		a := ask(0, in, g)
		for i := range in {
			in[i].WeightKg = byPounds(in[i].WeightKg)
		}
		b := ask(0, in, g)
		if where := differ("answer", reflect.ValueOf(a), reflect.ValueOf(b)); where != "" {
			t.Fatal(where)
		}
	})
}

// differ names the first place where two values are more than 1e-9 apart,
// absolute to 1 and relative beyond; empty when there is none.
func differ(path string, a, b reflect.Value) string {
	switch a.Kind() {
	case reflect.Float64:
		x, y := a.Float(), b.Float()
		if !(math.Abs(x-y) <= 1e-9*max(1, math.Abs(x))) {
			return fmt.Sprintf("%s: %.15g and %.15g", path, x, y)
		}
	case reflect.Struct:
		for i := range a.NumField() {
			if d := differ(path+"."+a.Type().Field(i).Name, a.Field(i), b.Field(i)); d != "" {
				return d
			}
		}
	case reflect.Slice:
		if a.Len() != b.Len() {
			return fmt.Sprintf("%s: %d and %d", path, a.Len(), b.Len())
		}
		for i := range a.Len() {
			if d := differ(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i)); d != "" {
				return d
			}
		}
	default:
		if !a.Equal(b) {
			return fmt.Sprintf("%s: %v and %v", path, a, b)
		}
	}
	return ""
}

// The entries of a day, in any order, make the same bytes: several readings,
// meals and marks a day.
func TestOrderOfEntriesChangesNothing(t *testing.T) {
	several := 0
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 12))
		var before, after engine.Window
		for day := range engine.Day(rapid.IntRange(3, 40).Draw(t, "days")) {
			entries := dayEntries(r, day)
			before.Days = append(before.Days, rollup.Day(day, entries).Row)
			if len(entries) > 3 {
				several++
			}
			r.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
			after.Days = append(after.Days, rollup.Day(day, entries).Row)
		}
		plan := engine.DefaultPlan(0)
		plan.Decisions = []engine.Decision{{From: 1, Target: someTarget}}
		g := Guess{Kcal: 2600}
		a := ask(0, Inputs(before, &plan, before.End()-1), g)
		b := ask(0, Inputs(after, &plan, after.End()-1), g)
		if !a.Started && before.Days[0].WeightKg.OK && before.Days[1].WeightKg.OK && before.Days[2].WeightKg.OK {
			t.Fatal("not started")
		}
		if !slices.Equal(bytesOf(t, a), bytesOf(t, b)) {
			t.Fatalf("%+v\n%+v", a, b)
		}
	})
	if several < 500 {
		t.Errorf("only %d days had entries to permute", several)
	}
}

func dayEntries(r *rand.Rand, day engine.Day) []engine.Entry {
	var out []engine.Entry
	add := func(key string, f engine.Fact) { out = append(out, engine.Entry{Day: day, Key: key, Fact: f}) }
	for i := range r.IntN(4) {
		w := engine.WeighIn{Weight: engine.Kg(80 + r.NormFloat64())}
		if r.IntN(2) == 0 {
			w.MinuteOfDay = engine.Some(float64(300 + r.IntN(6)))
		}
		add(fmt.Sprint("w", i), w)
	}
	for i := range r.IntN(5) {
		add(fmt.Sprint("m", i), engine.Intake{Energy: engine.Kcal(300 + 700*r.Float64()), IsPartial: r.IntN(30) == 0})
	}
	for i := range r.IntN(3) {
		of := []engine.MarkKind{engine.MarkRefeed, engine.MarkSaltyMeal, engine.MarkPeriodStart}[r.IntN(3)]
		m := engine.Mark{Of: of}
		if of == engine.MarkRefeed && r.IntN(2) == 0 {
			m.TargetKcal = engine.Some(2500 + float64(r.IntN(400)))
		}
		add(fmt.Sprint("k", i), m)
	}
	return out
}

// bytesOf writes an answer down to the last bit.
func bytesOf(t interface{ Fatal(...any) }, a answer) []byte {
	b, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The same log makes the same bytes: again, in used memory, beside others and
// on any number of processors.
func TestSameBytes(t *testing.T) {
	const logs = 20
	make := func(seed uint64) []byte {
		r := rand.New(rand.NewPCG(seed, 13))
		return bytesOf(t, ask(0, randomInputs(r, 120), randomGuess(r)))
	}
	var want [logs][]byte
	for seed := range uint64(logs) {
		want[seed] = make(seed)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, procs := range []int{1, 2, 3, 8} {
		runtime.GOMAXPROCS(procs)
		var wg sync.WaitGroup
		for worker := range uint64(4) {
			wg.Go(func() {
				for i := range uint64(logs) {
					seed := (i + 5*worker) % logs
					if got := make(seed); !slices.Equal(got, want[seed]) {
						t.Errorf("GOMAXPROCS %d, log %d: other bytes", procs, seed)
					}
				}
			})
		}
		wg.Wait()
	}
}
