package storetest

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var entryQueries = []testCase{
	{"InOrderOfDayKindKey", entriesInOrder},
	{"FromAndToAreInclusive", fromAndToAreInclusive},
	{"OnlyTheKindsAskedFor", onlyTheKindsAskedFor},
	{"AtMostTheLimit", atMostTheLimit},
	{"AfterIsExclusive", afterIsExclusive},
	{"PagesMakeTheWhole", pagesMakeTheWhole},
}

func query(t *testing.T, s store.Store, q store.EntryQuery) (got []engine.Entry) {
	t.Helper()
	view(t, s, ada, func(v store.View) {
		var err error
		got, err = v.Entries(q)
		must(t, err)
	})
	return got
}

// sortedLog stores three days of entries and returns them in order. Keys are in
// the order of their bytes, which no language's dictionary shares.
func sortedLog(t *testing.T, s store.Store) (want []engine.Entry) {
	create(t, s, ada)
	for d := range engine.Day(3) {
		for _, key := range []string{"", "10", "2", "B", "a", "\u00e9"} {
			want = append(want, engine.Entry{Day: day0 + d, Key: key, Fact: engine.WeighIn{Weight: engine.Kg(70)}})
		}
		want = append(want, intake(day0+d, 1900),
			engine.Entry{Day: day0 + d, Key: "1", Fact: engine.Mark{Of: engine.MarkTravel}})
	}
	shuffled := make([]engine.Entry, len(want))
	for i, e := range want {
		shuffled[(i*7)%len(want)] = e // 7 and the length, 24, have no common factor
	}
	put(t, s, ada, shuffled...)
	return want
}

// "in order of day, kind, key".
func entriesInOrder(t *testing.T, s store.Store) {
	want := sortedLog(t, s)
	same(t, "entries", query(t, s, everything()), want)
}

// "From and To are inclusive."
func fromAndToAreInclusive(t *testing.T, s store.Store) {
	want := sortedLog(t, s)
	n := len(want) / 3
	for _, c := range []struct {
		from, to engine.Day
		want     []engine.Entry
	}{
		{day0, day0 + 2, want},
		{day0, day0, want[:n]},
		{day0 + 1, day0 + 1, want[n : 2*n]},
		{day0 - 9, day0, want[:n]},
		{day0 + 2, day0 + 9, want[2*n:]},
		{day0 + 3, day0 + 9, nil},
		{day0 - 9, day0 - 1, nil},
		{day0 + 1, day0, nil},
	} {
		same(t, "entries", query(t, s, store.EntryQuery{From: c.from, To: c.to, Limit: 100}), c.want)
	}
}

// "Kinds: empty: all".
func onlyTheKindsAskedFor(t *testing.T, s store.Store) {
	create(t, s, ada)
	put(t, s, ada, everyFact()...)
	for _, kinds := range [][]engine.Kind{
		nil, {}, {engine.KindWeighIn}, {engine.KindMark, engine.KindIntake}, {engine.KindTape, engine.KindTape}, {engine.KindUnspecified},
		{engine.KindWeighIn, engine.KindIntake, engine.KindActivity, engine.KindLiftSet, engine.KindTape, engine.KindBodyFat, engine.KindCheckIn, engine.KindPhotoSet, engine.KindMark},
	} {
		var want []engine.Entry
		for _, e := range everyFact() {
			keep := len(kinds) == 0
			for _, k := range kinds {
				keep = keep || k == e.Fact.Kind()
			}
			if keep {
				want = append(want, e)
			}
		}
		q := everything()
		q.Kinds = kinds
		same(t, "entries", query(t, s, q), want)
	}
}

// "up to q.Limit entries": the first ones.
func atMostTheLimit(t *testing.T, s store.Store) {
	want := sortedLog(t, s)
	for _, limit := range []int{1, 2, len(want) - 1, len(want), len(want) + 1} {
		q := everything()
		q.Limit = limit
		same(t, "entries", query(t, s, q), want[:min(limit, len(want))])
	}
	q := everything()
	q.Limit, q.Kinds = 2, []engine.Kind{engine.KindMark} // the limit counts what is returned
	same(t, "marks", query(t, s, q), []engine.Entry{want[7], want[15]})
}

// "After: exclusive". An entry need not be there to start after it: it may have
// been deleted since it ended a page.
func afterIsExclusive(t *testing.T, s store.Store) {
	want := sortedLog(t, s)
	for i, e := range want {
		q := everything()
		id := e.ID()
		q.After = &id
		same(t, "entries after "+id.Day.String()+" "+id.Key, query(t, s, q), want[i+1:])
	}
	for _, c := range []struct {
		after engine.ID
		from  engine.Day
		want  []engine.Entry
	}{
		{engine.ID{Day: day0, Kind: engine.KindWeighIn, Key: "11"}, day0, want[2:]},
		{engine.ID{Day: day0, Kind: engine.KindMark, Key: "zzz"}, day0, want[8:]},
		{engine.ID{Day: day0 - 5, Kind: engine.KindMark, Key: "zzz"}, day0, want},
		{engine.ID{Day: day0, Kind: engine.KindMark, Key: "zzz"}, day0 + 2, want[16:]}, // From still holds
		{engine.ID{Day: day0 + 5, Kind: engine.KindWeighIn, Key: ""}, day0, nil},
	} {
		q := everything()
		q.From, q.After = c.from, &c.after
		same(t, "entries", query(t, s, q), c.want)
	}
}

func pagesMakeTheWhole(t *testing.T, s store.Store) {
	want := sortedLog(t, s)
	for _, limit := range []int{1, 5, 24} {
		q := everything()
		q.Limit = limit
		var got []engine.Entry
		for page := query(t, s, q); len(page) > 0; page = query(t, s, q) {
			got = append(got, page...)
			if len(got) > len(want) {
				t.Fatal("pages do not end")
			}
			id := page[len(page)-1].ID()
			q.After = &id
		}
		same(t, "pages", got, want)
	}
}
