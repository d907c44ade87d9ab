// Package storetest executes the contract of package store on a backend. Every
// sentence of that contract has a test here, and every backend runs all of them.
package storetest

import (
	"context"
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// Run executes the contract. open returns a new, empty store; it is called once
// for each subtest, which closes the store.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, theme := range []struct {
		name  string
		cases []testCase
	}{
		{"Lifecycle", lifecycle},
		{"Trainees", trainees},
		{"Heads", heads},
		{"Entries", entries},
		{"EntryQueries", entryQueries},
		{"Windows", windows},
		{"Plans", plans},
		{"Decisions", decisions},
		{"Roster", roster},
		{"Uploads", uploads},
		{"Transactions", transactions},
		{"Once", onces},
		{"Tenants", tenants},
		{"Contexts", contexts},
		{"Concurrency", concurrency},
		{"Keys", keys},
		{"Audit", audits},
		{"Retention", retentions},
	} {
		t.Run(theme.name, func(t *testing.T) {
			for _, c := range theme.cases {
				t.Run(c.name, func(t *testing.T) {
					s := open(t)
					t.Cleanup(func() { must(t, s.Close()) })
					c.run(t, s)
				})
			}
		})
	}
}

type testCase struct {
	name string
	run  func(t *testing.T, s store.Store)
}

// The scopes of most tests. All names and numbers of this suite are invented.
var (
	ada    = store.Scope{Tenant: "north-gym", Trainee: "ada"}
	bo     = store.Scope{Tenant: "north-gym", Trainee: "bo"}
	adaToo = store.Scope{Tenant: "south-gym", Trainee: "ada"} // the same id at another tenant
)

// day0 is the first day of most logs: 2026-03-02.
const day0 = engine.Day(20514)

var errStop = errors.New("stop")

// once is an idempotency record of the method that most tests call.
func once(id, hash string) store.Once {
	return store.Once{Method: "/test.v1.Log/Put", RequestID: id, BodyHash: hash}
}

// say answers a write with fixed bytes.
func say(text string) store.Answer {
	return func(store.Head) ([]byte, error) { return []byte(text), nil }
}

// answering is a write that does nothing but answer.
func answering(a store.Answer) store.Write {
	return func(store.Tx) (store.Answer, error) { return a, nil }
}

// tb is what *testing.T and *rapid.T have in common.
type tb interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
	Context() context.Context
}

// create makes a trainee with a full profile.
func create(t tb, s store.Store, sc store.Scope) store.Head {
	t.Helper()
	var head store.Head
	_, err := s.Create(t.Context(), sc, store.Once{}, fullTrainee(), answering(func(h store.Head) ([]byte, error) {
		head = h
		return nil, nil
	}))
	if err != nil {
		t.Fatalf("create %v: %v", sc, err)
	}
	return head
}

// update runs f in a write transaction that must succeed.
func update(t tb, s store.Store, sc store.Scope, f func(tx store.Tx)) store.Head {
	t.Helper()
	var head store.Head
	_, err := s.Update(t.Context(), sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		f(tx)
		return func(h store.Head) ([]byte, error) {
			head = h
			return nil, nil
		}, nil
	})
	if err != nil {
		t.Fatalf("update %v: %v", sc, err)
	}
	return head
}

// put stores entries in one write.
func put(t tb, s store.Store, sc store.Scope, entries ...engine.Entry) store.Head {
	t.Helper()
	return update(t, s, sc, func(tx store.Tx) { must(t, tx.PutEntries(entries)) })
}

// view runs f in a read transaction that must succeed.
func view(t tb, s store.Store, sc store.Scope, f func(v store.View)) {
	t.Helper()
	must(t, s.View(t.Context(), sc, func(v store.View) error {
		f(v)
		return nil
	}))
}

func snapshot(t tb, s store.Store, sc store.Scope, first engine.Day) store.Snapshot {
	t.Helper()
	snap, err := s.Snapshot(t.Context(), sc, first)
	must(t, err)
	return snap
}

func headOf(t tb, s store.Store, sc store.Scope) store.Head {
	t.Helper()
	h, err := s.Head(t.Context(), sc)
	must(t, err)
	return h
}

// everything asks for all entries of a log.
func everything() store.EntryQuery {
	return store.EntryQuery{From: -1 << 20, To: 1 << 22, Limit: 1 << 20}
}

func allEntries(t tb, v store.View) []engine.Entry {
	t.Helper()
	got, err := v.Entries(everything())
	must(t, err)
	return got
}

// state is all that a store says of a trainee.
type state struct {
	Head      store.Head
	Trainee   store.Trainee
	Plans     []store.Plan
	Decisions map[string][]store.Decision
	Entries   []engine.Entry
	Upload    *store.Upload // of id "file"
	Window    engine.Window
}

func traineeOf(t tb, v store.View) store.Trainee {
	t.Helper()
	got, err := v.Trainee()
	must(t, err)
	same(t, "zone", v.TimeZone(), got.TimeZone)
	return got
}

// stateOf reads everything, so that a test can say that nothing changed.
func stateOf(t tb, s store.Store, sc store.Scope) state {
	t.Helper()
	st := state{Decisions: map[string][]store.Decision{}, Window: snapshot(t, s, sc, day0-7).Window}
	view(t, s, sc, func(v store.View) {
		var err error
		st.Head, st.Trainee, st.Entries = v.Head(), traineeOf(t, v), allEntries(t, v)
		st.Plans, err = v.Plans("", 1<<20)
		must(t, err)
		for _, p := range st.Plans {
			st.Decisions[p.ID], err = v.Decisions(p.ID, "", 1<<20)
			must(t, err)
		}
		if u, err := v.Upload("file"); err == nil {
			st.Upload = &u
		}
	})
	return st
}

// same fails unless got and want are equal; an empty list equals no list.
func same(t tb, what string, got, want any) {
	t.Helper()
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Fatalf("%s (-want +got):\n%s", what, diff)
	}
}

func must(t tb, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// wantErr fails unless err is target.
func wantErr(t tb, what string, err, target error) {
	t.Helper()
	if !errors.Is(err, target) {
		t.Fatalf("%s: error %v, want %v", what, err, target)
	}
}

// wantGone fails unless there is no such trainee for any read.
func wantGone(t tb, s store.Store, sc store.Scope) {
	t.Helper()
	_, err := s.Head(t.Context(), sc)
	wantErr(t, "head", err, store.ErrNotFound)
	_, err = s.Snapshot(t.Context(), sc, day0)
	wantErr(t, "snapshot", err, store.ErrNotFound)
	err = s.View(t.Context(), sc, func(store.View) error { return errStop })
	wantErr(t, "view", err, store.ErrNotFound)
}

// tryUpdate is an update whose outcome the test looks at itself.
func tryUpdate(ctx context.Context, s store.Store, sc store.Scope, f func(tx store.Tx) error) error {
	_, err := s.Update(ctx, sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		return say(""), f(tx)
	})
	return err
}
