package trend

import (
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

// readings is a window from day 100 on; 0 is a day without a reading.
func readings(kg ...float64) engine.Window {
	w := engine.Window{First: 100, Days: make([]engine.WindowDay, len(kg))}
	for i, v := range kg {
		if v != 0 {
			w.Days[i].WeightKg = engine.Some(v)
		}
	}
	return w
}

func TestLastReadings(t *testing.T) {
	w := readings(80, 81, 0, 82, 83, 0, 84) // days 100..106
	for name, c := range map[string]struct {
		upTo engine.Day
		n    int
		skip []engine.Day
		days []float64
		kg   []float64
	}{
		"the last three":         {106, 3, nil, []float64{-3, -2, 0}, []float64{82, 83, 84}},
		"a day without reading":  {105, 2, nil, []float64{-2, -1}, []float64{82, 83}},
		"fewer than asked":       {101, 7, nil, []float64{-1, 0}, []float64{80, 81}},
		"days left out":          {106, 3, []engine.Day{104, 103}, []float64{-6, -5, 0}, []float64{80, 81, 84}},
		"the day itself out":     {106, 1, []engine.Day{106}, []float64{-2}, []float64{83}},
		"past the window":        {110, 2, nil, []float64{-6, -4}, []float64{83, 84}},
		"before the window":      {99, 2, nil, nil, nil},
		"none asked":             {106, 0, nil, nil, nil},
		"a negative number":      {106, -1, nil, nil, nil},
		"all left out":           {101, 7, []engine.Day{100, 101}, nil, nil},
		"exactly the first days": {100, 1, nil, []float64{0}, []float64{80}},
	} {
		t.Run(name, func(t *testing.T) {
			days, kg := LastReadings(w, c.upTo, c.n, c.skip...)
			if !slices.Equal(days, c.days) || !slices.Equal(kg, c.kg) {
				t.Errorf("got %v %v, want %v %v", days, kg, c.days, c.kg)
			}
		})
	}
	if days, kg := LastReadings(engine.Window{}, 5, 7); len(days) != 0 || len(kg) != 0 {
		t.Errorf("an empty window gave %v %v", days, kg)
	}
}
