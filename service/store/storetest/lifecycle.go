package storetest

import (
	"testing"

	"example.com/steelyard/service/store"
)

// Closing is a part of each test: Run closes every store and wants no error.
var lifecycle = []testCase{
	{"PingOfAnOpenStore", func(t *testing.T, s store.Store) { must(t, s.Ping(t.Context())) }},
	{"UnknownTrainee", func(t *testing.T, s store.Store) {
		wantGone(t, s, ada)
		err := tryUpdate(t.Context(), s, ada, func(store.Tx) error {
			t.Error("update of no trainee was called")
			return nil
		})
		wantErr(t, "update", err, store.ErrNotFound)
		_, err = s.Erase(t.Context(), ada, act())
		wantErr(t, "erase", err, store.ErrNotFound)
	}},
}
