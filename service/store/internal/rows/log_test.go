package rows

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

var logGen = rapid.Custom(func(t *rapid.T) map[engine.ID]engine.Entry {
	out := map[engine.ID]engine.Entry{}
	for range rapid.IntRange(0, 20).Draw(t, "entries") {
		e := engine.Entry{Day: engine.Day(rapid.IntRange(0, 5).Draw(t, "day")), Key: rapid.SampledFrom([]string{"1", "2"}).Draw(t, "key"), Fact: engine.PhotoSet{}}
		if kg := rapid.IntRange(0, 9).Draw(t, "kg"); kg > 0 {
			e.Fact = engine.WeighIn{Weight: engine.Kg(float64(kg))}
		}
		out[e.ID()] = e
	}
	return out
})

// Merging is what a map does that is written over.
func TestMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stored, written := logGen.Draw(t, "stored"), logGen.Draw(t, "written")
		got := Merge(InOrder(slices.Collect(maps.Values(stored))), InOrder(slices.Collect(maps.Values(written))))
		maps.Copy(stored, written)
		if want := InOrder(slices.Collect(maps.Values(stored))); !slices.Equal(got, want) {
			t.Fatalf("merged %+v, want %+v", got, want)
		}
	})
}

func TestInOrder(t *testing.T) {
	photo, weight := engine.PhotoSet{}, engine.WeighIn{}
	want := []engine.Entry{{Day: 1, Key: "2", Fact: weight}, {Day: 1, Key: "1", Fact: photo}, {Day: 1, Key: "2", Fact: photo}, {Day: 2, Key: "1", Fact: weight}}
	given := []engine.Entry{want[3], want[1], want[0], want[2]}
	if got := InOrder(given); !slices.Equal(got, want) || given[0] != want[3] {
		t.Errorf("%+v of %+v", got, given)
	}
	if got := InOrder(want); &got[0] != &want[0] {
		t.Error("what is in order is copied")
	}
	for _, twice := range [][]engine.Entry{{want[0], want[1], want[0]}, {want[0], want[0], want[1]}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("two of one key: %+v", twice)
				}
			}()
			InOrder(twice)
		}()
	}
}

func TestByDayAndRun(t *testing.T) {
	var log []engine.Entry
	for _, d := range []engine.Day{3, 3, 4, 5, 5, 7} {
		log = append(log, engine.Entry{Day: d})
	}
	var days []engine.Day
	for day, of := range ByDay(log) {
		days = append(days, day)
		if want := 1 + int(day)%2; day != 7 && len(of) != want {
			t.Errorf("%d entries of day %d, want %d", len(of), day, want)
		}
	}
	if !slices.Equal(days, []engine.Day{3, 4, 5, 7}) || Run(days) != 3 || Run(days[3:]) != 1 {
		t.Errorf("days %v", days)
	}
	for day := range ByDay(log) {
		if day == 4 {
			break
		}
	}
}
