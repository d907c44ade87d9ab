package storetest

import (
	"errors"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

var keys = []testCase{
	{"PutKeepsEveryField", putKeyKeepsEveryField},
	{"PutOfATakenID", putOfATakenKeyID},
	{"ConcurrentPut", concurrentPutKey},
	{"NoSuchKey", noSuchKey},
	{"ListedByCreationThenID", keysAreListed},
	{"RevokeEndsForGood", revokeEndsForGood},
	{"RevokeOfNoKey", revokeOfNoKey},
}

// key was made some seconds after an invented instant.
func key(id, tenant string, seconds int) store.Key {
	return store.Key{
		ID: id, Tenant: tenant, Name: "front desk", Hash: []byte{0, 1, 254, 255}, Scopes: []string{"log.write", "log.read"},
		Created: time.Date(2026, 3, 2, 8, 0, seconds, 0, time.UTC),
	}
}

// "zero: never"; "zero: live". Times are UTC in whole seconds.
func putKeyKeepsEveryField(t *testing.T, s store.Store) {
	bare := store.Key{ID: "bare", Tenant: "t", Hash: []byte{7}, Created: time.Unix(1, 0).UTC()}
	full := key("full", "t", 1)
	full.Expires, full.Revoked = full.Created.Add(time.Hour), full.Created.Add(time.Minute)
	given := full
	given.Created = given.Created.Add(999 * time.Millisecond).In(time.FixedZone("x", -3600))
	must(t, s.PutKey(t.Context(), bare))
	must(t, s.PutKey(t.Context(), given))
	for _, want := range []store.Key{bare, full} {
		got, err := s.Key(t.Context(), want.ID)
		must(t, err)
		same(t, "key", got, want)
		for _, at := range []time.Time{got.Created, got.Expires, got.Revoked} {
			if at.Location() != time.UTC {
				t.Errorf("%v is not in UTC", at)
			}
		}
		if want.ID == "bare" && !(got.Expires.IsZero() && got.Revoked.IsZero()) {
			t.Errorf("expires %v, revoked %v", got.Expires, got.Revoked)
		}
	}
}

// "ErrExists when its id is taken": ids are "unique over all tenants".
func putOfATakenKeyID(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k", "t", 1)))
	for _, tenant := range []string{"t", "another"} {
		wantErr(t, "put", s.PutKey(t.Context(), key("k", tenant, 2)), store.ErrExists)
	}
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	same(t, "key", got, key("k", "t", 1))
}

func concurrentPutKey(t *testing.T, s store.Store) {
	var taken atomic.Int32
	together(func(i int) {
		switch err := s.PutKey(t.Context(), key("k", "t", i)); {
		case err == nil:
			taken.Add(1)
		case !errors.Is(err, store.ErrExists):
			t.Errorf("put: %v", err)
		}
	})
	same(t, "taken", taken.Load(), int32(1))
}

// "ErrNotFound when there is none."
func noSuchKey(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k", "t", 1)))
	for _, id := range []string{"", "K", "k ", "%"} {
		_, err := s.Key(t.Context(), id)
		wantErr(t, "key", err, store.ErrNotFound)
	}
}

// "ListKeys returns a tenant's keys by creation time, then id."
func keysAreListed(t *testing.T, s store.Store) {
	want := []store.Key{key("z", "t", 1), key("B", "t", 2), key("a", "t", 2), key("m", "t", 3)}
	for _, i := range []int{2, 0, 3, 1} {
		must(t, s.PutKey(t.Context(), want[i]))
	}
	must(t, s.PutKey(t.Context(), key("other", "another", 0)))
	got, err := s.ListKeys(t.Context(), "t")
	must(t, err)
	same(t, "keys", got, want)
	got, err = s.ListKeys(t.Context(), "no-such-tenant")
	must(t, err)
	same(t, "keys", got, slices.Clone(want[:0]))
}

// "RevokeKey ends a key for good": a second time changes nothing. A revoked key
// is still found and listed.
func revokeEndsForGood(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k", "t", 1)))
	must(t, s.PutKey(t.Context(), key("live", "t", 2)))
	must(t, s.RevokeKey(t.Context(), "t", "k"))
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	wantStamp(t, "revoked", got.Revoked)
	want := key("k", "t", 1)
	want.Revoked = got.Revoked
	same(t, "key", got, want)

	earlier := key("early", "t", 0)
	earlier.Revoked = time.Unix(5, 0).UTC()
	must(t, s.PutKey(t.Context(), earlier))
	must(t, s.RevokeKey(t.Context(), "t", "early"))
	list, err := s.ListKeys(t.Context(), "t")
	must(t, err)
	same(t, "keys", list, []store.Key{earlier, want, key("live", "t", 2)})
}

// "ErrNotFound when the tenant has none of that id."
func revokeOfNoKey(t *testing.T, s store.Store) {
	wantErr(t, "revoke", s.RevokeKey(t.Context(), "t", "k"), store.ErrNotFound)
	must(t, s.PutKey(t.Context(), key("k", "another", 1)))
	wantErr(t, "revoke", s.RevokeKey(t.Context(), "t", "k"), store.ErrNotFound)
}
