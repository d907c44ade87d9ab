package balance

import (
	"math"
	"testing"
)

// steady is a log of weights about 80 kg, then the given ones.
func steady(then ...float64) []Input {
	var kg []float64
	for i := range 21 {
		kg = append(kg, 80+0.3*math.Sin(float64(2*i)))
	}
	return weights(append(kg, then...)...)
}

func TestGate(t *testing.T) {
	for _, c := range []struct {
		what string
		then []float64
		want []Reason
	}{
		{"an ordinary morning", []float64{80.8}, []Reason{0}},
		{"one wild reading", []float64{90, 80}, []Reason{FarFromExpected, 0}},
		{"two alike, then back", []float64{90, 90.2, 80.1}, []Reason{FarFromExpected, FarFromExpected, 0}},
		{"three alike are a new level", []float64{90, 90.4, 90.1, 90.2}, []Reason{FarFromExpected, FarFromExpected, 0, 0}},
		{"days between do not matter", []float64{90, 0, 90.4, 0, 0, 90.1}, []Reason{FarFromExpected, 0, FarFromExpected, 0, 0, 0}},
		{"three that differ are not", []float64{90, 70, 90, 70}, []Reason{FarFromExpected, FarFromExpected, FarFromExpected, FarFromExpected}},
		{"an accepted one between starts anew", []float64{90, 90.1, 80, 90.2}, []Reason{FarFromExpected, FarFromExpected, 0, FarFromExpected}},
		{"impossible ones do not count", []float64{90, 900, 90.1, 900, 90.2}, []Reason{FarFromExpected, OutOfRange, FarFromExpected, OutOfRange, 0}},
	} {
		in := steady(c.then...)
		track := Run(0, in, Guess{Kcal: 2500})
		for i, want := range c.want {
			if got := track.Days[21+i].Refused; got != want {
				t.Errorf("%s: reading %d refused: %q, want %q", c.what, i+1, got, want)
			}
		}
		if used := track.end.accepted; used+len(track.refused) != countReadings(in) {
			t.Errorf("%s: %d used and %d refused of %d", c.what, used, len(track.refused), countReadings(in))
		}
	}
}

// After a new level is believed the trend is there at once, and the step has
// not been taken for energy eaten: maintenance moves by what the weight makes,
// 25 kcal/d a kg, and little else.
func TestNewLevelIsBelieved(t *testing.T) {
	before := Run(0, steady(), Guess{Kcal: 2500}).end.x
	after := Run(0, steady(90, 90.4, 90.1), Guess{Kcal: 2500}).end.x
	if math.Abs(after.t-90) > 1 {
		t.Errorf("trend %.2f kg after three readings at 90", after.t)
	}
	if d := after.m - before.m; math.Abs(d) > 50 {
		t.Errorf("the step moved maintenance by %.0f kcal/d", d)
	}
}

func countReadings(in []Input) int {
	n := 0
	for _, d := range in {
		if d.WeightKg.OK {
			n++
		}
	}
	return n
}

func TestCycleShape(t *testing.T) {
	for _, c := range []struct{ day, want float64 }{
		{-8, 0}, {-4, 0.5}, {0, 1}, {0.5, 1}, {1, 1}, {3, 0.5}, {5, 0}, {12, 0},
		{20.5, 0}, {24.5, 0.5}, {28.5, 1}, {29.5, 1}, {31.5, 0.5}, {33.5, 0}, {60, 0},
		{math.Inf(1), 0},
	} {
		if got := cycleShape(c.day); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("day %v: %v, want %v", c.day, got, c.want)
		}
	}
}
