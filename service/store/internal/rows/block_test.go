package rows

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// Splicing is what a map of days does that is written over.
func TestSplice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		block := rapid.Int64Range(-3, 3).Draw(t, "block")
		model := map[engine.Day]string{}
		var stored []byte
		for range rapid.IntRange(1, 6).Draw(t, "writes") {
			changes := map[engine.Day][]byte{}
			for range rapid.IntRange(0, 40).Draw(t, "days") {
				day := engine.Day(block*32) + engine.Day(rapid.IntRange(0, 31).Draw(t, "day"))
				changes[day] = slices.Repeat([]byte{byte(day)}, rapid.IntRange(0, 300).Draw(t, "bytes"))
			}
			var changed []PackedDay
			for _, day := range slices.Sorted(maps.Keys(changes)) {
				if Block(day) != block {
					t.Fatalf("day %d is of block %d, not %d", day, Block(day), block)
				}
				changed = append(changed, PackedDay{day, changes[day]})
				if model[day] = string(changes[day]); model[day] == "" {
					delete(model, day)
				}
			}
			var err error
			if stored, err = Splice(block, stored, changed); err != nil {
				t.Fatal(err)
			}
		}
		got := map[engine.Day]string{}
		last := engine.Day(-1000)
		err := EachDay(block, stored, func(d PackedDay) error {
			if d.Day <= last {
				t.Fatalf("day %d after day %d", d.Day, last)
			}
			got[d.Day], last = string(d.Packed), d.Day
			return nil
		})
		if err != nil || !maps.Equal(got, model) || (stored == nil) != (len(model) == 0) {
			t.Fatalf("%d days of %d, %v", len(got), len(model), err)
		}
	})
}

// Whatever is stored, its days ascend and are of the block, or there is an error.
func FuzzEachDay(f *testing.F) {
	f.Add([]byte("\x00\x01a\x1f\x02bc"))
	for _, malformed := range []string{"\x00", "\x00\x00", "\x00\x02a", "\x20\x01a", "\x01\x01a\x01\x01a", "\x00\xff"} {
		if EachDay(0, []byte(malformed), func(PackedDay) error { return nil }) == nil {
			f.Errorf("%q is a block", malformed)
		}
		f.Add([]byte(malformed))
	}
	f.Fuzz(func(t *testing.T, stored []byte) {
		last := engine.Day(-1)
		_ = EachDay(0, stored, func(d PackedDay) error {
			if d.Day <= last || d.Day > 31 || len(d.Packed) == 0 {
				t.Fatalf("%x: day %d of %d bytes after day %d", stored, d.Day, len(d.Packed), last)
			}
			last = d.Day
			return nil
		})
	})
}
