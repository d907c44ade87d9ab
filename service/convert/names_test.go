package convert_test

import (
	"errors"
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

var entryIDs = rapid.Custom(func(t *rapid.T) engine.ID {
	return engine.ID{
		Day:  engine.Day(rapid.IntRange(0, int(lastDay)).Draw(t, "day")),
		Kind: engine.Kind(rapid.IntRange(int(engine.KindWeighIn), int(engine.KindMark)).Draw(t, "kind")),
		Key:  rapid.StringMatching(`[a-z0-9][a-z0-9-]{0,39}`).Draw(t, "key"),
	}
})

// entryNameShape is what the contract demands of an entry's name.
var entryNameShape = regexp.MustCompile(`^trainees/[a-z0-9][a-z0-9-]{0,62}/entries/[a-z0-9][a-z0-9-]{0,79}$`)

func TestEntryName_RoundTrip(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		id, trainee := entryIDs.Draw(t, "id"), ids.Draw(t, "trainee")
		name := convert.EntryName(trainee, id)
		if !entryNameShape.MatchString(name) {
			t.Fatalf("%s is not of the contract's shape", name)
		}
		got, err := convert.EntryIDFrom(name, "name")
		if err != nil || got != id || convert.TraineeFrom(name) != trainee {
			t.Fatalf("%s reads as %+v of %s, %v, want %+v of %s", name, got, convert.TraineeFrom(name), err, id, trainee)
		}
	})
}

func TestEntryIDFrom_Refuses(t *testing.T) {
	for _, id := range []string{
		"", "x", "2026-03-01", "2026-03-01-", "2026-03-01-weigh-in", "2026-03-01-weigh-in-", "2026-03-01-weighin-1", "2026-03-01-unspecified-1",
		"2025-02-29-mark-1", "2026-13-01-mark-1", "2026-3-1-mark-1", "2026-03-01_mark-1", "2026-03-01 mark-1", "+026-03-01-mark-1", "20260301-mark-1",
		"2026-03-01--mark-1", "2026-03-01-Mark-1", strings.Repeat("9", 1000),
	} {
		if got, err := convert.EntryIDFrom("trainees/t1/entries/"+id, "name"); err == nil || fieldOf(err) != "name" || got != (engine.ID{}) {
			t.Errorf("%q reads as %+v, %v", id, got, err)
		}
	}
	for _, name := range []string{"", "trainees", "trainees/t1", "trainees/t1/entries", "//", "///"} {
		if _, err := convert.EntryIDFrom(name, "page_token"); fieldOf(err) != "page_token" {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// FuzzEntryIDFrom: whatever comes in, it is refused or it is exactly the name of
// what it reads as.
func FuzzEntryIDFrom(f *testing.F) {
	for _, s := range []string{
		"trainees/t1/entries/2026-03-01-weigh-in-1", "trainees/t1/entries/2026-03-01-lift-set-squat-2", "trainees/t1/entries/2026-02-30-mark-1",
		"trainees/t1/entries/2026-03-01-check-in-", "", "a/b/c/2026-03-01-tape-\x00", "trainees//entries/0000-00-00-mark-1/x", "trainees/t1/entries/2026-03-01-mark-\xff",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		id, err := convert.EntryIDFrom(name, "name")
		if err != nil {
			if id != (engine.ID{}) || fieldOf(err) != "name" {
				t.Errorf("%q: %+v, %v", name, id, err)
			}
			return
		}
		if id.Kind < engine.KindWeighIn || id.Kind > engine.KindMark || id.Key == "" {
			t.Fatalf("%q reads as %+v", name, id)
		}
		parts := strings.Split(name, "/")
		if want := convert.EntryName("t1", id); want != "trainees/t1/entries/"+parts[3] {
			t.Errorf("%q reads as %+v, whose name is %s", name, id, want)
		}
	})
}

func TestNames(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{convert.TraineeName("t1"), "trainees/t1"},
		{convert.PlanName("t1", "p1"), "trainees/t1/plans/p1"},
		{convert.DecisionName("t1", "p1", "d1"), "trainees/t1/plans/p1/decisions/d1"},
		{convert.TraineeFrom("trainees/t1"), "t1"},
		{convert.TraineeFrom("trainees/t1/weightTrend"), "t1"},
		{convert.TraineeFrom("trainees"), ""},
		{convert.TraineeFrom(""), ""},
		{convert.PlanFrom("trainees/t1/plans/p1"), "p1"},
		{convert.PlanFrom("trainees/t1/plans/p1/decisions/d1"), "p1"},
		{convert.PlanFrom("trainees/t1/plans"), ""},
		{convert.DecisionFrom("trainees/t1/plans/p1/decisions/d1"), "d1"},
		{convert.DecisionFrom("trainees/t1/plans/p1"), ""},
		{convert.Revision(head), "00112233445566778899aabbccddeeff-7"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestIDsFrom_OwnNames(t *testing.T) {
	long := strings.Repeat("a", 63)
	for name, want := range map[string]string{
		"trainees/t1": "t1", "trainees/" + long: long, "trainees/0-": "0-",
		"": "", "t1": "", "trainees/": "", "trainees/T1": "", "trainees/-a": "", "trainees/" + long + "a": "", "trainees/t1/": "",
		"trainees/t1/plans/p1": "", "trainees/a\n": "", "xtrainees/t1": "", "trainees/t 1": "",
	} {
		if got, err := convert.TraineeIDFrom(name, "trainee.name"); got != want || (err == nil) != (want != "") || (err != nil && fieldOf(err) != "trainee.name") {
			t.Errorf("%q: %q, %v", name, got, err)
		}
	}
	for name, want := range map[string]string{
		"trainees/t1/plans/p1": "t1 p1", "trainees/" + long + "/plans/" + long: long + " " + long,
		"": " ", "trainees/t1": " ", "trainees/t1/plans/": " ", "trainees/t1/plans/P": " ", "trainees/t1/plans/p1/decisions/d1": " ", "trainees//plans/p1": " ",
	} {
		trainee, plan, err := convert.PlanIDsFrom(name, "plan.name")
		if trainee+" "+plan != want || (err == nil) != (want != " ") || (err != nil && fieldOf(err) != "plan.name") {
			t.Errorf("%q: %q %q, %v", name, trainee, plan, err)
		}
	}
}

func TestRevision_IsReadBack(t *testing.T) {
	const incarnation = "00112233445566778899aabbccddeeff"
	for _, n := range []int64{1, 42, math.MaxInt64} {
		h := store.Head{Incarnation: incarnation, Revision: n}
		if got, err := convert.RevisionFrom(convert.Revision(h), "f"); err != nil || got != h {
			t.Errorf("%s: %v, %v", convert.Revision(h), got, err)
		}
	}
	onATimeline := store.Head{Incarnation: "0000001A" + incarnation[8:], Revision: 3}
	if got, err := convert.RevisionFrom(convert.Revision(onATimeline), "f"); err != nil || got != onATimeline {
		t.Errorf("%v, %v", got, err)
	}
	for _, text := range []string{
		"", "-", "7", incarnation, incarnation + "-", incarnation + "-0", incarnation + "--1", incarnation + "-01", incarnation + "-+1", incarnation + "-1 ",
		incarnation + "-1\n", incarnation + "-9223372036854775808", incarnation[1:] + "-1", "g" + incarnation[1:] + "-1", "\x00" + incarnation + "-1",
	} {
		got, err := convert.RevisionFrom(text, "at_least_revision")
		var invalid *fault.Invalid
		if !errors.As(err, &invalid) || len(invalid.Fields) != 1 || invalid.Fields[0].Path != "at_least_revision" {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}
