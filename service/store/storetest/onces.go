package storetest

import (
	"fmt"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var onces = []testCase{
	{"ReplayReturnsTheRecordedBytes", replayReturnsTheRecordedBytes},
	{"OtherBodyIsRefused", otherBodyIsRefused},
	{"MethodsAreIndependent", methodsAreIndependent},
	{"ScopesAreIndependent", scopesAreIndependent},
	{"ReplayOfACreation", replayOfACreation},
	{"NoRequestIDNoRecord", noRequestIDNoRecord},
	{"EmptyAnswerIsReplayed", emptyAnswerIsReplayed},
	{"ReplayAfterErasure", replayAfterErasure},
}

// weigh stores a reading under a request id and answers with its number and the
// revision, so that no two effects have equal answers.
func weigh(t *testing.T, s store.Store, sc store.Scope, o store.Once, kg float64) (string, error) {
	t.Helper()
	got, err := s.Update(t.Context(), sc, o, func(tx store.Tx) (store.Answer, error) {
		if err := tx.PutEntries([]engine.Entry{weighIn(day0, kg)}); err != nil {
			return nil, err
		}
		return func(h store.Head) ([]byte, error) { return fmt.Appendf(nil, "%v kg\x00 at %d", kg, h.Revision), nil }, nil
	})
	return string(got), err
}

// "a second write with the same request id returns the first one's answer and
// changes nothing", also after other writes.
func replayReturnsTheRecordedBytes(t *testing.T, s store.Store) {
	create(t, s, ada)
	first, err := weigh(t, s, ada, once("r", "h"), 70)
	must(t, err)
	same(t, "answer", first, "70 kg\x00 at 2")
	for range 2 {
		before := stateOf(t, s, ada)
		again, err := weigh(t, s, ada, once("r", "h"), 99) // what a replay carries is not looked at
		must(t, err)
		same(t, "replayed answer", again, first)
		same(t, "state after a replay", stateOf(t, s, ada), before)
		_, err = weigh(t, s, ada, store.Once{}, 71)
		must(t, err)
	}
}

// "the same id with another hash is ErrReused".
func otherBodyIsRefused(t *testing.T, s store.Store) {
	create(t, s, ada)
	_, err := weigh(t, s, ada, once("r", "h"), 70)
	must(t, err)
	before := stateOf(t, s, ada)
	_, err = weigh(t, s, ada, once("r", "other"), 71)
	wantErr(t, "reuse", err, store.ErrReused)
	same(t, "state", stateOf(t, s, ada), before)
	again, err := weigh(t, s, ada, once("r", "h"), 72)
	must(t, err)
	same(t, "replayed answer", again, "70 kg\x00 at 2")
}

// "ids of different methods are independent".
func methodsAreIndependent(t *testing.T, s store.Store) {
	create(t, s, ada)
	_, err := weigh(t, s, ada, store.Once{Method: "/test.v1.Log/A", RequestID: "r", BodyHash: "h"}, 70)
	must(t, err)
	got, err := weigh(t, s, ada, store.Once{Method: "/test.v1.Log/B", RequestID: "r", BodyHash: "other"}, 71)
	must(t, err)
	same(t, "answer", got, "71 kg\x00 at 3")
	_, err = weigh(t, s, ada, once("r2", "h"), 72) // and so are different ids
	must(t, err)
	same(t, "head", headOf(t, s, ada).Revision, int64(4))
}

// A request id is one of a trainee of a tenant.
func scopesAreIndependent(t *testing.T, s store.Store) {
	for i, sc := range []store.Scope{ada, bo, adaToo} {
		create(t, s, sc)
		got, err := weigh(t, s, sc, once("r", fmt.Sprint("h", i)), float64(70+i))
		must(t, err)
		same(t, "answer", got, fmt.Sprintf("%d kg\x00 at 2", 70+i))
	}
}

// A creation that is sent again is answered like the first time, and not
// refused for the id that it took itself.
func replayOfACreation(t *testing.T, s store.Store) {
	o := store.Once{Method: "/test.v1.Log/Create", RequestID: "r", BodyHash: "h"}
	got, err := s.Create(t.Context(), ada, o, fullTrainee(), answering(say("made")))
	must(t, err)
	same(t, "answer", string(got), "made")
	_, err = weigh(t, s, ada, once("r", "another method"), 70)
	must(t, err)
	before := stateOf(t, s, ada)

	got, err = s.Create(t.Context(), ada, o, store.Trainee{}, answering(say("made again")))
	must(t, err)
	same(t, "replayed answer", string(got), "made")
	o.BodyHash = "other"
	_, err = s.Create(t.Context(), ada, o, store.Trainee{}, answering(say("made again")))
	wantErr(t, "reuse", err, store.ErrReused)
	o.RequestID = "r2"
	_, err = s.Create(t.Context(), ada, o, store.Trainee{}, answering(say("made again")))
	wantErr(t, "another request", err, store.ErrExists)
	same(t, "state", stateOf(t, s, ada), before)
}

// "RequestID empty: no idempotency record".
func noRequestIDNoRecord(t *testing.T, s store.Store) {
	create(t, s, ada)
	for i, hash := range []string{"h", "h", "other"} {
		got, err := weigh(t, s, ada, once("", hash), float64(70+i))
		must(t, err)
		same(t, "answer", got, fmt.Sprintf("%d kg\x00 at %d", 70+i, 2+i))
	}
}

func emptyAnswerIsReplayed(t *testing.T, s store.Store) {
	create(t, s, ada)
	for _, answer := range [][]byte{nil, {}} {
		o := once(fmt.Sprintf("r %v", answer == nil), "h")
		runs := 0
		for range 2 {
			got, err := s.Update(t.Context(), ada, o, func(store.Tx) (store.Answer, error) {
				runs++
				return func(store.Head) ([]byte, error) { return answer, nil }, nil
			})
			must(t, err)
			same(t, "answer", len(got), 0)
		}
		same(t, "runs", runs, 1)
	}
}

// Erasure takes the records along; a replay finds nobody.
func replayAfterErasure(t *testing.T, s store.Store) {
	create(t, s, ada)
	_, err := weigh(t, s, ada, once("r", "h"), 70)
	must(t, err)
	_, err = s.Erase(t.Context(), ada, act())
	must(t, err)
	_, err = weigh(t, s, ada, once("r", "h"), 70)
	wantErr(t, "replay", err, store.ErrNotFound)
	wantGone(t, s, ada)
}
