package call_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// snapshots holds one trainee with a reading a day, from the asked day to last.
type snapshots struct {
	zone  string
	last  engine.Day
	asked []engine.Day
	err   error
}

func (s *snapshots) Head(context.Context, store.Scope) (store.Head, error) { return head, s.err }

func (s *snapshots) Snapshot(_ context.Context, _ store.Scope, first engine.Day) (store.Snapshot, error) {
	s.asked = append(s.asked, first)
	out := store.Snapshot{Head: head, Trainee: store.Trainee{TimeZone: s.zone}, Window: engine.Window{First: first}}
	for d := first; d <= s.last; d++ {
		out.Window.Days = append(out.Window.Days, engine.WindowDay{WeightKg: engine.Some(float64(d))})
	}
	return out, nil
}

// noBag holds nothing.
type noBag struct{}

func (noBag) Get(context.Context, store.Scope) (store.Snapshot, bool) { return store.Snapshot{}, false }
func (noBag) Put(context.Context, store.Scope, store.Snapshot)        {}

func TestAsOf(t *testing.T) {
	day := func(y, m, d int) engine.Day {
		out, ok := engine.DayOf(y, m, d)
		if !ok {
			t.Fatalf("%d-%d-%d", y, m, d)
		}
		return out
	}
	today := day(2026, 3, 1) // in UTC
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		now   time.Time
		zone  string
		asked *date.Date
		ahead engine.Day
		want  engine.Day
		field string // at fault; empty when it is read
	}{
		{"today", noon, "UTC", nil, 0, today, ""},
		{"today, far east", noon, "Pacific/Kiritimati", nil, 0, today + 1, ""},             // 02:00 on 2 March
		{"today, far west", noon.Add(-2 * time.Hour), "Etc/GMT+12", nil, 0, today - 1, ""}, // 22:00 on 28 February
		{"a day", noon, "UTC", &date.Date{Year: 2025, Month: 7, Day: 4}, 0, day(2025, 7, 4), ""},
		{"before the log", noon, "UTC", &date.Date{Year: 1970, Month: 1, Day: 1}, 0, 0, ""},
		{"the last possible", noon, "UTC", &date.Date{Year: 2026, Month: 3, Day: 8}, 7, today + 7, ""},
		{"one too far", noon, "UTC", &date.Date{Year: 2026, Month: 3, Day: 9}, 7, 0, "as_of_date"},
		{"tomorrow there, not here", noon, "Pacific/Kiritimati", &date.Date{Year: 2026, Month: 3, Day: 3}, 1, today + 2, ""},
		{"tomorrow here, not there", noon.Add(-2 * time.Hour), "Etc/GMT+12", &date.Date{Year: 2026, Month: 3, Day: 2}, 1, 0, "as_of_date"},
		{"far ahead", noon, "UTC", &date.Date{Year: 9999, Month: 12, Day: 31}, 7, 0, "as_of_date"},
		{"no such day", noon, "UTC", &date.Date{Year: 2025, Month: 2, Day: 29}, 7, 0, "as_of_date"},
		{"before 1970", noon, "UTC", &date.Date{Year: 1969, Month: 12, Day: 31}, 7, 0, "as_of_date"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &snapshots{zone: c.zone, last: today + 20}
			counted := 0
			windows := window.NewSource(s, noBag{}, func(context.Context, window.Origin) { counted++ })
			got, err := call.AsOf{
				Date: c.asked, Field: "as_of_date", Ahead: c.ahead, Now: c.now, First: func(d engine.Day) engine.Day { return d - 400 },
			}.Read(t.Context(), windows, store.Scope{})
			if c.field != "" {
				var invalid *fault.Invalid
				if !errors.As(err, &invalid) || invalid.Fields[0].Path != c.field || len(got.Snapshot.Window.Days) != 0 {
					t.Errorf("%v, %v", got.AsOf, err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got.AsOf != c.want || got.Origin != window.FromStore || counted != 1 {
				t.Errorf("as of %s, want %s", got.AsOf, c.want)
			}
			w := got.Snapshot.Window
			if w.First != c.want-400 || w.End() != today+21 || w.At(c.want).WeightKg.V != float64(c.want) {
				t.Errorf("window %s to %s, want it to begin on %s", w.First, w.End(), c.want-400)
			}
			if len(s.asked) != 1 {
				t.Errorf("the store was asked %d times", len(s.asked))
			}
		})
	}
}

func TestAsOf_ErrorsPassThrough(t *testing.T) {
	read := func(s *snapshots) error {
		windows := window.NewSource(s, noBag{}, func(context.Context, window.Origin) {})
		_, err := call.AsOf{Field: "as_of_date", Now: time.Unix(1e9, 0), First: func(d engine.Day) engine.Day { return d }}.Read(t.Context(), windows, store.Scope{})
		return err
	}
	if err := read(&snapshots{zone: "UTC", err: store.ErrNotFound}); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("absent: %v", err)
	}
	var invalid *fault.Invalid
	if err := read(&snapshots{zone: "Mars/Olympus"}); err == nil || errors.As(err, &invalid) {
		t.Errorf("a stored zone that is none is our fault and not the caller's: %v", err)
	}
	if _, err := convert.Today(time.Unix(1e9, 0), "Mars/Olympus"); err == nil {
		t.Error("Mars/Olympus is a zone")
	}
}
