package balance

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// guessFor is a guess that depends on where the run starts, and is refused for
// some starts.
func guessFor(kg float64, row int) (Guess, bool) {
	return Guess{Kcal: 30*kg + float64(row)}, kg < 190
}

// freshly runs over the days through row i and tells of the last.
func freshly(first engine.Day, in []Input, i int) State {
	var g Guess
	kg, row, ok := StartWeight(in[:i+1])
	if ok {
		g, ok = guessFor(kg, row)
	}
	if !ok {
		g = Guess{}
	}
	return Run(first, in[:i+1], g).Days[i]
}

func TestMorningsAreFreshRuns(t *testing.T) {
	started, late := 0, 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 8))
		in := randomInputs(r, 1+r.IntN(100))
		if seed%3 == 0 { // a slow start: the third reading comes after the seventh day
			for i := range in[:min(len(in), 12+r.IntN(12))] {
				if r.IntN(8) > 0 {
					in[i].WeightKg = engine.Opt{}
				}
			}
		}
		got := Mornings(500, in, guessFor)
		for i := range in {
			want := freshly(500, in, i)
			if !nearly(got[i], want) {
				t.Fatalf("seed %d, day %d:\n%+v\n%+v", seed, i, got[i], want)
			}
			if got[i].Started {
				started++
				if got[i].ReadingsUsed < startReadings {
					late++
				}
			}
		}
	}
	t.Logf("%d mornings with an estimate, %d of them before the third reading", started, late)
	if started < 1500 || late < 20 {
		t.Errorf("too tame: %d mornings, %d before the third reading", started, late)
	}
}

func TestMorningsOfAnyLogAreFreshRuns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInputs(t)
		got := Mornings(0, in, guessFor)
		if len(got) != len(in) {
			t.Fatalf("%d mornings of %d days", len(got), len(in))
		}
		for i := range in {
			if want := freshly(0, in, i); !nearly(got[i], want) {
				t.Fatalf("day %d:\n%+v\n%+v", i, got[i], want)
			}
		}
	})
}

// nearly compares two states to 1e-9.
func nearly(a, b State) bool {
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range va.NumField() {
		if va.Field(i).Kind() != reflect.Float64 {
			if !va.Field(i).Equal(vb.Field(i)) {
				return false
			}
			continue
		}
		x, y := va.Field(i).Float(), vb.Field(i).Float()
		if !(math.Abs(x-y) <= 1e-9*max(1, math.Abs(y))) {
			return false
		}
	}
	return true
}
