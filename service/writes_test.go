package service

import (
	"context"
	"errors"
	"slices"
	"testing"

	"example.com/steelyard/service/store"
)

// runs is a store whose updates run their callback so many times, each for a higher
// revision, and then come to err.
type runs struct {
	store.Store
	times int
	err   error
}

func (r runs) Update(_ context.Context, _ store.Scope, _ store.Once, w store.Write) ([]byte, error) {
	encoded := []byte("on record")
	for n := range r.times {
		answer, err := w(nil)
		if err != nil {
			return nil, err
		}
		if encoded, err = answer(store.Head{Incarnation: "aa", Revision: int64(n + 1)}); err != nil {
			return nil, err
		}
	}
	return encoded, r.err
}

func TestWrites_TellOfTheHeadThatWasCommitted(t *testing.T) {
	boom := errors.New("boom")
	fine := func(store.Tx) (store.Answer, error) {
		return func(store.Head) ([]byte, error) { return []byte("made"), nil }, nil
	}
	for name, c := range map[string]struct {
		runs
		write store.Write
		want  []int64 // revisions told of
	}{
		"one run":              {runs{times: 1}, fine, []int64{1}},
		"undone and run again": {runs{times: 2}, fine, []int64{2}},
		"a replay":             {runs{}, fine, nil},
		"not committed":        {runs{times: 1, err: boom}, fine, nil},
		"refused":              {runs{times: 1}, func(store.Tx) (store.Answer, error) { return nil, boom }, nil},
	} {
		t.Run(name, func(t *testing.T) {
			var told []int64
			whose := store.Scope{Tenant: "gym", Trainee: "t1"}
			w := writes{c.runs, func(s store.Scope, h store.Head) {
				if s != whose || h.Incarnation != "aa" {
					t.Errorf("told of %v, %v", s, h)
				}
				told = append(told, h.Revision)
			}}
			encoded, err := w.Update(t.Context(), whose, store.Once{}, c.write)
			if !slices.Equal(told, c.want) {
				t.Errorf("told of %v, want %v", told, c.want)
			}
			if fails := name == "not committed" || name == "refused"; errors.Is(err, boom) != fails || !fails && len(encoded) == 0 {
				t.Errorf("%q, %v", encoded, err)
			}
		})
	}
}
