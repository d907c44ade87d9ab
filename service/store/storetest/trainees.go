package storetest

import (
	"regexp"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var trainees = []testCase{
	{"CreateStartsAtRevisionOne", createStartsAtRevisionOne},
	{"CreateAnswersWithTheHead", createAnswersWithTheHead},
	{"CreateRunsTheWrite", createRunsTheWrite},
	{"CreateKeepsEveryField", createKeepsEveryField},
	{"CreateKeepsWhatIsUnknown", createKeepsWhatIsUnknown},
	{"CreateSetsItsOwnTimes", createSetsItsOwnTimes},
	{"CreateOfATakenID", createOfATakenID},
	{"CreateThatCannotAnswer", createThatCannotAnswer},
	{"PutTraineeReplacesNameZoneAndProfile", putTraineeReplaces},
	{"PutTraineeMakesUnknown", putTraineeMakesUnknown},
	{"EraseCounts", eraseCounts},
	{"EraseRemovesTheTrainee", eraseRemovesTheTrainee},
	{"EraseLeavesOthers", eraseLeavesOthers},
	{"RecreatedIsEmptyAndNew", recreatedIsEmptyAndNew},
}

// "Create makes a trainee with a new incarnation at revision 1"; "32 hex digits".
func createStartsAtRevisionOne(t *testing.T, s store.Store) {
	h := create(t, s, ada)
	if h.Revision != 1 || !regexp.MustCompile(`^[0-9a-f]{32}$`).MatchString(h.Incarnation) {
		t.Errorf("head %+v", h)
	}
	same(t, "head after creation", headOf(t, s, ada), h)
}

// "It runs inside the transaction with the head that the commit will have".
func createAnswersWithTheHead(t *testing.T, s store.Store) {
	var told store.Head
	got, err := s.Create(t.Context(), ada, store.Once{}, fullTrainee(), answering(func(h store.Head) ([]byte, error) {
		told = h
		return []byte("made"), nil
	}))
	must(t, err)
	same(t, "answer", string(got), "made")
	same(t, "head", headOf(t, s, ada), told)
}

// In the creating transaction the trainee reads as it is stored, and what w
// writes is there with it.
func createRunsTheWrite(t *testing.T, s store.Store) {
	var inside store.Trainee
	_, err := s.Create(t.Context(), ada, store.Once{}, fullTrainee(), func(tx store.Tx) (store.Answer, error) {
		inside = traineeOf(t, tx)
		return say(""), tx.PutEntries([]engine.Entry{{Day: day0, Key: "1", Fact: engine.PhotoSet{Reference: "first"}}})
	})
	must(t, err)
	view(t, s, ada, func(v store.View) {
		same(t, "trainee inside", inside, traineeOf(t, v))
		entries, err := v.Entries(store.EntryQuery{From: day0, To: day0, Limit: 2})
		must(t, err)
		same(t, "entries", len(entries), 1)
	})
}

// The id is that of the scope.
func createKeepsEveryField(t *testing.T, s store.Store) {
	create(t, s, ada)
	want := fullTrainee()
	want.ID = ada.Trainee
	view(t, s, ada, func(v store.View) {
		got := traineeOf(t, v)
		want.Created, want.Updated = got.Created, got.Updated
		same(t, "trainee in a view", got, want)
	})
	same(t, "trainee in a snapshot", snapshot(t, s, ada, day0).Trainee, want)
	update(t, s, ada, func(tx store.Tx) { same(t, "trainee in a write", traineeOf(t, tx), want) })
}

func createKeepsWhatIsUnknown(t *testing.T, s store.Store) {
	_, err := s.Create(t.Context(), ada, store.Once{}, store.Trainee{}, answering(say("")))
	must(t, err)
	view(t, s, ada, func(v store.View) {
		got := traineeOf(t, v)
		same(t, "trainee", got, store.Trainee{ID: "ada", Created: got.Created, Updated: got.Updated})
	})
}

// "Created and Updated are set by the store"; "UTC, whole seconds".
func createSetsItsOwnTimes(t *testing.T, s store.Store) {
	create(t, s, ada)
	got := snapshot(t, s, ada, day0).Trainee
	wantStamp(t, "created", got.Created)
	same(t, "updated", got.Updated, got.Created)
	if given := fullTrainee(); got.Created.Equal(given.Created.Truncate(time.Second)) {
		t.Error("the caller's creation time was stored")
	}
}

func wantStamp(t *testing.T, what string, at time.Time) {
	t.Helper()
	if at.IsZero() || at.Location() != time.UTC || at.Nanosecond() != 0 {
		t.Errorf("%s is %v, want whole seconds in UTC", what, at)
	}
}

// "ErrExists when the id is taken"; whoever took it keeps what it has.
func createOfATakenID(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	_, err := s.Create(t.Context(), ada, once("r", "h"), store.Trainee{DisplayName: "late"}, answering(say("late")))
	wantErr(t, "create", err, store.ErrExists)
	same(t, "state", stateOf(t, s, ada), before)
}

func createThatCannotAnswer(t *testing.T, s store.Store) {
	_, err := s.Create(t.Context(), ada, once("r", "h"), fullTrainee(), answering(func(store.Head) ([]byte, error) { return nil, errStop }))
	wantErr(t, "create", err, errStop)
	wantGone(t, s, ada)
	got, err := s.Create(t.Context(), ada, once("r", "other"), fullTrainee(), answering(say("made")))
	must(t, err)
	same(t, "answer", string(got), "made")
}

// "replaces display name, zone and profile", and nothing else.
func putTraineeReplaces(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	next := store.Trainee{
		ID: "another-id", DisplayName: "Ada, renamed", TimeZone: "America/St_Johns",
		Profile: engine.Profile{Sex: engine.Male, HeightCm: engine.Some(172), Activity: engine.VeryActive, Conditions: engine.HeartDisease},
		Created: time.Unix(1, 0), Updated: time.Unix(2, 0),
	}
	h := update(t, s, ada, func(tx store.Tx) {
		must(t, tx.PutTrainee(next))
		inside := traineeOf(t, tx)
		same(t, "name inside the write", inside.DisplayName, next.DisplayName)
		same(t, "zone inside the write", inside.TimeZone, next.TimeZone)
		same(t, "profile inside the write", inside.Profile, next.Profile)
	})
	after := stateOf(t, s, ada)
	wantStamp(t, "updated", after.Trainee.Updated)
	if after.Trainee.Updated.Before(before.Trainee.Created) {
		t.Errorf("updated %v before created %v", after.Trainee.Updated, before.Trainee.Created)
	}
	want := before
	want.Head = h
	want.Trainee.DisplayName, want.Trainee.TimeZone, want.Trainee.Profile = next.DisplayName, next.TimeZone, next.Profile
	want.Trainee.Updated = after.Trainee.Updated
	same(t, "state", after, want)
}

func putTraineeMakesUnknown(t *testing.T, s store.Store) {
	create(t, s, ada)
	update(t, s, ada, func(tx store.Tx) { must(t, tx.PutTrainee(store.Trainee{DisplayName: "Ada"})) })
	same(t, "profile", snapshot(t, s, ada, day0).Trainee.Profile, engine.Profile{})
}

// "Erased counts what an erasure removed."
func eraseCounts(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	got, err := s.Erase(t.Context(), ada, act())
	must(t, err)
	same(t, "erased", got, store.Erased{Entries: len(everyFact()) + 1, Plans: 2, Decisions: 2})

	create(t, s, bo)
	got, err = s.Erase(t.Context(), bo, act())
	must(t, err)
	same(t, "erased of an empty log", got, store.Erased{})
}

// "Erase removes the trainee and everything recorded for it"; "ErrNotFound when
// there is no such trainee."
func eraseRemovesTheTrainee(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	_, err := s.Erase(t.Context(), ada, act())
	must(t, err)
	wantGone(t, s, ada)
	wantErr(t, "update", tryUpdate(t.Context(), s, ada, fill), store.ErrNotFound)
	_, err = s.Erase(t.Context(), ada, act())
	wantErr(t, "second erasure", err, store.ErrNotFound)
}

func eraseLeavesOthers(t *testing.T, s store.Store) {
	before := map[store.Scope]state{}
	for _, sc := range []store.Scope{ada, bo, adaToo} {
		create(t, s, sc)
		must(t, tryUpdate(t.Context(), s, sc, fill))
		before[sc] = stateOf(t, s, sc)
	}
	must(t, s.PutKey(t.Context(), key("k1", ada.Tenant, 0), act()))
	_, err := s.Erase(t.Context(), ada, act())
	must(t, err)
	same(t, "a neighbour", stateOf(t, s, bo), before[bo])
	same(t, "the same id elsewhere", stateOf(t, s, adaToo), before[adaToo])
	_, err = s.Key(t.Context(), "k1")
	must(t, err)
}

// "the incarnation is random at creation and never reused, not even for the
// same id created again after an erasure"; "idempotency records and uploads included".
func recreatedIsEmptyAndNew(t *testing.T, s store.Store) {
	first := create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	_, err := s.Update(t.Context(), ada, once("r", "h"), func(store.Tx) (store.Answer, error) { return say("old"), nil })
	must(t, err)
	_, err = s.Erase(t.Context(), ada, act())
	must(t, err)

	second := create(t, s, ada)
	if second.Incarnation == first.Incarnation || second.Revision != 1 {
		t.Errorf("head %+v after %+v", second, first)
	}
	got := stateOf(t, s, ada)
	same(t, "state", got, state{Head: second, Trainee: got.Trainee, Window: engine.Window{First: day0 - 7}})
	// An id of the old life, with another body: a record of it would refuse this.
	answer, err := s.Update(t.Context(), ada, once("r", "other"), func(store.Tx) (store.Answer, error) { return say("new"), nil })
	must(t, err)
	same(t, "answer", string(answer), "new")
}
