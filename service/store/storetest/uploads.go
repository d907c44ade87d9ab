package storetest

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var uploads = []testCase{
	{"NotFoundBeforeItsFirstBatch", uploadNotFound},
	{"RecordsWhereItStands", uploadRecordsWhereItStands},
	{"MovesWithItsEntries", uploadMovesWithItsEntries},
}

func uploadOf(t *testing.T, s store.Store, sc store.Scope, id string) (got store.Upload) {
	t.Helper()
	view(t, s, sc, func(v store.View) {
		var err error
		got, err = v.Upload(id)
		must(t, err)
	})
	return got
}

// "ErrNotFound before its first batch."
func uploadNotFound(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	must(t, tryUpdate(t.Context(), s, bo, fill))
	view(t, s, ada, func(v store.View) {
		_, err := v.Upload("file")
		wantErr(t, "upload", err, store.ErrNotFound)
	})
}

func uploadRecordsWhereItStands(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	first := store.Upload{ID: "file", SHA256: "aa11", NextSeq: 1, Committed: 500}
	other := store.Upload{ID: "another", SHA256: "bb22", NextSeq: 7, Committed: 1 << 40}
	for _, u := range []store.Upload{first, other} {
		update(t, s, ada, func(tx store.Tx) {
			must(t, tx.PutUpload(u))
			got, err := tx.Upload(u.ID)
			must(t, err)
			same(t, "inside the write", got, u)
		})
	}
	update(t, s, bo, func(tx store.Tx) { must(t, tx.PutUpload(store.Upload{ID: "file", SHA256: "cc33"})) })
	same(t, "first", uploadOf(t, s, ada, "file"), first)
	first.NextSeq, first.Committed = 2, 1000
	update(t, s, ada, func(tx store.Tx) { must(t, tx.PutUpload(first)) })
	same(t, "first", uploadOf(t, s, ada, "file"), first)
	same(t, "other", uploadOf(t, s, ada, "another"), other)
	same(t, "a neighbour's", uploadOf(t, s, bo, "file"), store.Upload{ID: "file", SHA256: "cc33"})
}

// "batches below NextSeq are applied, in the transactions that raised it": a
// batch that fails leaves both its entries and the place as they were.
func uploadMovesWithItsEntries(t *testing.T, s store.Store) {
	create(t, s, ada)
	batch := func(seq int64, end error) error {
		return tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
			must(t, tx.PutEntries([]engine.Entry{weighIn(day0+engine.Day(seq), 70)}))
			must(t, tx.PutUpload(store.Upload{ID: "file", SHA256: "aa11", NextSeq: seq + 1, Committed: seq + 1}))
			return end
		})
	}
	must(t, batch(0, nil))
	before := stateOf(t, s, ada)
	wantErr(t, "batch", batch(1, errStop), errStop)
	same(t, "state", stateOf(t, s, ada), before)
	must(t, batch(1, nil))
	if got := stateOf(t, s, ada); got.Upload.NextSeq != 2 || len(got.Entries) != 2 {
		t.Errorf("upload %+v with %d entries", got.Upload, len(got.Entries))
	}
}
