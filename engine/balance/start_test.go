package balance

import (
	"testing"

	"example.com/steelyard/engine"
)

// weights makes one row a number; 0 is a morning without a reading.
func weights(kg ...float64) []Input {
	in := make([]Input, len(kg))
	for i, v := range kg {
		if v != 0 {
			in[i].WeightKg = engine.Some(v)
		}
	}
	return in
}

func TestStart(t *testing.T) {
	for _, c := range []struct {
		what     string
		in       []Input
		weightKg float64 // 0: does not start
		row      int
	}{
		{"no reading", weights(0, 0, 0, 0, 0, 0, 0, 0), 0, 0},
		{"two readings, six days", weights(80, 0, 81, 0, 0, 0), 0, 0},
		{"two readings, seven days", weights(80, 0, 81, 0, 0, 0, 0), 80.5, 0},
		{"one reading, seven days after empty ones", weights(0, 0, 80, 0, 0, 0, 0, 0, 0), 80, 2},
		{"one reading, six days after empty ones", weights(0, 0, 80, 0, 0, 0, 0, 0), 0, 0},
		{"third reading", weights(80, 90, 81), 81, 0},
		{"a fourth does not count", weights(80, 82, 81, 70), 81, 0},
		{"impossible ones do not count", weights(800, 29.9, 80, 200.1, 81, 82), 81, 2},
		{"the bounds themselves do", weights(30, 200, 100), 100, 0},
	} {
		kg, row, ok := StartWeight(c.in)
		if ok != (c.weightKg != 0) || ok && (kg != c.weightKg || row != c.row) {
			t.Errorf("%s: %v kg in row %d, %v", c.what, kg, row, ok)
		}
		e, started := Run(0, c.in, Guess{Kcal: 2500}).Estimate(someTarget, Band{0.5, 1})
		if started != ok {
			t.Errorf("%s: start weight %v but estimate %v (%+v)", c.what, ok, started, e)
		}
	}
}

func TestFirstReadings(t *testing.T) {
	for _, c := range []struct {
		what    string
		in      []Input
		refused []Reason
	}{
		{"2.5 kg off is a weight", weights(80, 82.5, 80), []Reason{0, 0, 0}},
		{"more is not", weights(82.6, 80, 80), []Reason{FarFromFirstReadings, 0, 0}},
		{"nor below", weights(80, 77.4, 80), []Reason{0, FarFromFirstReadings, 0}},
		{"impossible ones have their own reason", weights(800, 80, 80.5, 80), []Reason{OutOfRange, 0, 0, 0}},
	} {
		track := Run(0, c.in, Guess{Kcal: 2500})
		for i, d := range track.Days {
			if d.Refused != c.refused[i] {
				t.Errorf("%s: day %d refused: %q, want %q", c.what, i, d.Refused, c.refused[i])
			}
		}
	}
}
