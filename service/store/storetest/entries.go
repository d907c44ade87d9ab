package storetest

import (
	"math"
	"slices"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var entries = []testCase{
	{"EveryFactComesBackAsGiven", everyFactComesBack},
	{"NumbersComeBackExactly", numbersComeBackExactly},
	{"TextComesBackExactly", textComesBackExactly},
	{"PutReplacesByNaturalKey", putReplacesByNaturalKey},
	{"OrderOfEntriesDoesNotMatter", orderOfEntriesDoesNotMatter},
	{"PutKeepsTheCallersSlice", putKeepsTheCallersSlice},
	{"OneKeyTwicePanics", oneKeyTwicePanics},
	{"ManyEntriesInOneWrite", manyEntriesInOneWrite},
	{"DeleteRemovesOneEntry", deleteRemovesOneEntry},
	{"DeleteOfNoEntry", deleteOfNoEntry},
}

func logOf(t tb, s store.Store, sc store.Scope) (got []engine.Entry) {
	t.Helper()
	view(t, s, sc, func(v store.View) { got = allEntries(t, v) })
	return got
}

// Facts come back with their own values and units.
func everyFactComesBack(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, everyFact()...)
	same(t, "entries", logOf(t, s, ada), everyFact())
}

func numbersComeBackExactly(t *testing.T, s store.Store) {
	create(t, s, ada)
	var want []engine.Entry
	for i, v := range []float64{0, 0.1, 1.0 / 3, 72.35, math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, 1 << 53, 1e15 + 0.5} {
		want = append(want, weighIn(day0+engine.Day(i), v))
	}
	for _, d := range []engine.Day{-719162, -1, 0, 2932896} { // years 1 to 9999
		want = append(want, weighIn(d, float64(d)))
	}
	put(t, s, ada, want...)
	slices.SortFunc(want, func(a, b engine.Entry) int { return int(a.Day - b.Day) })
	same(t, "entries", logOf(t, s, ada), want)
}

func textComesBackExactly(t *testing.T, s store.Store) {
	create(t, s, ada)
	var want []engine.Entry
	for _, text := range []string{"", " ", "'; DROP TABLE entry; --", "a\"b\\c\nd\te", "100 %_", "\u00e9 \u202e\u05d0 e\u0301 \U0001f957", "null", "<&>"} {
		want = append(want, engine.Entry{Day: day0, Key: text, Note: text, Fact: engine.PhotoSet{Reference: text}})
	}
	put(t, s, ada, want...)
	slices.SortFunc(want, func(a, b engine.Entry) int {
		if a.Key < b.Key {
			return -1
		}
		return 1
	})
	same(t, "entries", logOf(t, s, ada), want)
}

// "PutEntries inserts or replaces entries by natural key": the whole entry is
// replaced, and an entry that differs in day, kind or key is another one.
func putReplacesByNaturalKey(t *testing.T, s store.Store) {
	create(t, s, ada)
	old := engine.Entry{Day: day0, Key: "1", Note: "old", Fact: engine.WeighIn{Weight: engine.Kg(70), MinuteOfDay: engine.Some(400)}}
	neighbours := []engine.Entry{
		{Day: day0, Key: "2", Fact: engine.WeighIn{Weight: engine.Kg(71)}},
		{Day: day0, Key: "1", Fact: engine.BodyFat{Pct: 25}},
		{Day: day0 + 1, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(72)}},
	}
	put(t, s, ada, append(neighbours, old)...)
	next := engine.Entry{Day: day0, Key: "1", Fact: engine.WeighIn{Weight: engine.Mass{Value: 150, Unit: engine.Pound}}}
	put(t, s, ada, next)
	same(t, "entries", logOf(t, s, ada), []engine.Entry{next, neighbours[0], neighbours[1], neighbours[2]})
}

// "The order of entries does not matter".
func orderOfEntriesDoesNotMatter(t *testing.T, s store.Store) {
	list := append(everyFact(), weighIn(day0+1, 70), intake(day0+1, 1900), weighIn(day0+3, 69.9))
	create(t, s, ada)
	put(t, s, ada, list...)
	slices.Reverse(list)
	create(t, s, bo)
	put(t, s, bo, list...)
	a, b := stateOf(t, s, ada), stateOf(t, s, bo)
	same(t, "entries", b.Entries, a.Entries)
	same(t, "window", b.Window, a.Window)
}

func putKeepsTheCallersSlice(t *testing.T, s store.Store) {
	create(t, s, ada)
	list := []engine.Entry{weighIn(day0+1, 70), weighIn(day0, 71)}
	put(t, s, ada, list...)
	same(t, "slice", list, []engine.Entry{weighIn(day0+1, 70), weighIn(day0, 71)})
}

// "two of one key are a programming error and panic"; nothing of it stays, and
// the store serves on.
func oneKeyTwicePanics(t *testing.T, s store.Store) {
	create(t, s, ada)
	before := stateOf(t, s, ada)
	func() {
		defer func() {
			if recover() == nil {
				t.Error("no panic")
			}
		}()
		_ = tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
			return tx.PutEntries([]engine.Entry{weighIn(day0, 70), intake(day0, 1900), weighIn(day0, 71)})
		})
	}()
	same(t, "state", stateOf(t, s, ada), before)
	put(t, s, ada, weighIn(day0, 70))
}

func manyEntriesInOneWrite(t *testing.T, s store.Store) {
	create(t, s, ada)
	var want []engine.Entry
	for i := range 1001 { // no multiple of anything a backend may batch by
		want = append(want, weighIn(day0+engine.Day(i), 80-float64(i)/100))
	}
	put(t, s, ada, want...)
	same(t, "entries", logOf(t, s, ada), want)
	if w := snapshot(t, s, ada, day0).Window; len(w.Days) != 1001 || w.Days[1000].WeightKg != engine.Some(70) {
		t.Errorf("window of %d days", len(w.Days))
	}
}

// "DeleteEntry removes one entry".
func deleteRemovesOneEntry(t *testing.T, s store.Store) {
	create(t, s, ada)
	list := everyFact()
	put(t, s, ada, list...)
	update(t, s, ada, func(tx store.Tx) { must(t, tx.DeleteEntry(list[4].ID())) })
	same(t, "entries", logOf(t, s, ada), slices.Delete(list, 4, 5))
}

// "ErrNotFound when there is none": day, kind and key must all be those of an entry.
func deleteOfNoEntry(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	put(t, s, ada, weighIn(day0, 70))
	put(t, s, bo, weighIn(day0+1, 70))
	before := stateOf(t, s, ada)
	for _, id := range []engine.ID{
		{Day: day0 + 1, Kind: engine.KindWeighIn, Key: "1"},
		{Day: day0, Kind: engine.KindIntake, Key: "1"},
		{Day: day0, Kind: engine.KindWeighIn, Key: "2"},
	} {
		err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error { return tx.DeleteEntry(id) })
		wantErr(t, "delete", err, store.ErrNotFound)
	}
	same(t, "state", stateOf(t, s, ada), before)
}
