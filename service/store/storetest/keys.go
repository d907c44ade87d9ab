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
	{"BoundToATrainee", keyBoundToATrainee},
	{"RotateOverlaps", rotateOverlaps},
	{"RotateOfNoLiveKey", rotateOfNoLiveKey},
	{"RotateToATakenID", rotateToATakenID},
	{"RotateOfABoundKey", rotateOfABoundKey},
	{"UseIsNoted", useIsNoted},
	{"ChangesAreOnTheTrail", keyChangesAreOnTheTrail},
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
	full.Expires, full.Revoked, full.Used = full.Created.Add(time.Hour), full.Created.Add(time.Minute), full.Created.Add(time.Second)
	given := full
	given.Created = given.Created.Add(999 * time.Millisecond).In(time.FixedZone("x", -3600))
	must(t, s.PutKey(t.Context(), bare, act()))
	must(t, s.PutKey(t.Context(), given, act()))
	for _, want := range []store.Key{bare, full} {
		got, err := s.Key(t.Context(), want.ID)
		must(t, err)
		same(t, "key", got, want)
		for _, at := range []time.Time{got.Created, got.Expires, got.Revoked, got.Used} {
			if at.Location() != time.UTC {
				t.Errorf("%v is not in UTC", at)
			}
		}
		if want.ID == "bare" && !(got.Expires.IsZero() && got.Revoked.IsZero() && got.Used.IsZero()) {
			t.Errorf("expires %v, revoked %v, used %v", got.Expires, got.Revoked, got.Used)
		}
	}
}

// "ErrExists when its id is taken": ids are "unique over all tenants".
func putOfATakenKeyID(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k", "t", 1), act()))
	for _, tenant := range []string{"t", "another"} {
		wantErr(t, "put", s.PutKey(t.Context(), key("k", tenant, 2), act()), store.ErrExists)
	}
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	same(t, "key", got, key("k", "t", 1))
}

func concurrentPutKey(t *testing.T, s store.Store) {
	var taken atomic.Int32
	together(func(i int) {
		switch err := s.PutKey(t.Context(), key("k", "t", i), act()); {
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
	must(t, s.PutKey(t.Context(), key("k", "t", 1), act()))
	for _, id := range []string{"", "K", "k ", "%"} {
		_, err := s.Key(t.Context(), id)
		wantErr(t, "key", err, store.ErrNotFound)
	}
}

// "ListKeys returns up to limit of a tenant's keys by creation time, then id, after
// the key of the given id; empty is from the start. ErrNotFound when the tenant has
// no key to start after."
func keysAreListed(t *testing.T, s store.Store) {
	want := []store.Key{key("z", "t", 1), key("B", "t", 2), key("a", "t", 2), key("m", "t", 3)}
	for _, i := range []int{2, 0, 3, 1} {
		must(t, s.PutKey(t.Context(), want[i], act()))
	}
	must(t, s.PutKey(t.Context(), key("other", "another", 0), act()))
	for n := range len(want) + 1 {
		for limit := 1; limit <= 5; limit++ {
			after := ""
			if n > 0 {
				after = want[n-1].ID
			}
			got, err := s.ListKeys(t.Context(), "t", after, limit)
			must(t, err)
			same(t, "keys", got, want[n:min(n+limit, len(want))])
		}
	}
	got, err := s.ListKeys(t.Context(), "no-such-tenant", "", 100)
	must(t, err)
	same(t, "keys", got, slices.Clone(want[:0]))
	for _, after := range []string{"other", "nothing"} {
		_, err = s.ListKeys(t.Context(), "t", after, 100)
		wantErr(t, "keys after "+after, err, store.ErrNotFound)
	}
}

// "RevokeKey ends a key for good and returns it as it then is. Revoking it again
// changes nothing." A revoked key is still found and listed.
func revokeEndsForGood(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k", "t", 1), act()))
	must(t, s.PutKey(t.Context(), key("live", "t", 2), act()))
	told, err := s.RevokeKey(t.Context(), "t", "k", act())
	must(t, err)
	wantStamp(t, "revoked", told.Revoked)
	want := key("k", "t", 1)
	want.Revoked = told.Revoked
	same(t, "told", told, want)
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	same(t, "key", got, want)

	earlier := key("early", "t", 0)
	earlier.Revoked = time.Unix(5, 0).UTC()
	must(t, s.PutKey(t.Context(), earlier, act()))
	told, err = s.RevokeKey(t.Context(), "t", "early", act())
	must(t, err)
	same(t, "told again", told, earlier)
	list, err := s.ListKeys(t.Context(), "t", "", 100)
	must(t, err)
	same(t, "keys", list, []store.Key{earlier, want, key("live", "t", 2)})
}

// "ErrNotFound when the tenant has none of that id."
func revokeOfNoKey(t *testing.T, s store.Store) {
	_, err := s.RevokeKey(t.Context(), "t", "k", act())
	wantErr(t, "revoke", err, store.ErrNotFound)
	must(t, s.PutKey(t.Context(), key("k", "another", 1), act()))
	_, err = s.RevokeKey(t.Context(), "t", "k", act())
	wantErr(t, "revoke", err, store.ErrNotFound)
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	same(t, "the other tenant's", got, key("k", "another", 1))
}

// bound is a key for ada alone.
func bound(id string, seconds int) store.Key {
	k := key(id, ada.Tenant, seconds)
	k.Trainee = ada.Trainee
	return k
}

// "ErrNotFound when it is bound to a trainee and there is no such one." The binding
// is kept.
func keyBoundToATrainee(t *testing.T, s store.Store) {
	create(t, s, adaToo)
	wantErr(t, "put", s.PutKey(t.Context(), bound("k", 1), act()), store.ErrNotFound)
	_, err := s.Key(t.Context(), "k")
	wantErr(t, "key", err, store.ErrNotFound)
	create(t, s, ada)
	must(t, s.PutKey(t.Context(), bound("k", 1), act()))
	got, err := s.Key(t.Context(), "k")
	must(t, err)
	same(t, "key", got, bound("k", 1))
	list, err := s.ListKeys(t.Context(), ada.Tenant, "", 100)
	must(t, err)
	same(t, "keys", list, []store.Key{bound("k", 1)})
}

// "UsedKeys notes when keys were last used. A time earlier than the noted one, and
// an id that is no key's, change nothing." Keys of several tenants may be among them.
func useIsNoted(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("a", "t", 1), act()))
	must(t, s.PutKey(t.Context(), key("b", "another", 1), act()))
	must(t, s.PutKey(t.Context(), key("c", "t", 1), act()))
	noon := time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)
	must(t, s.UsedKeys(t.Context(), map[string]time.Time{"a": noon, "b": noon, "nobody": noon}))
	must(t, s.UsedKeys(t.Context(), map[string]time.Time{"a": noon.Add(-time.Minute), "b": noon.Add(time.Minute)}))
	must(t, s.UsedKeys(t.Context(), nil))
	for id, want := range map[string]time.Time{"a": noon, "b": noon.Add(time.Minute), "c": {}} {
		got, err := s.Key(t.Context(), id)
		must(t, err)
		same(t, "use of "+id, got.Used, want)
	}
	_, err := s.Key(t.Context(), "nobody")
	wantErr(t, "key", err, store.ErrNotFound)
}

// "Each change adds its audit record in the same transaction; it is about the
// trainee that the key is bound to, if any." "Revoking it again changes nothing and
// adds no record." What fails adds none.
func keyChangesAreOnTheTrail(t *testing.T, s store.Store) {
	create(t, s, ada)
	put, rotate, revoke, failed := acted("Put", 1), acted("Rotate", 2), acted("Revoke", 3), acted("Failed", 4)
	must(t, s.PutKey(t.Context(), bound("old", 1), put))
	must(t, s.RotateKey(t.Context(), "old", time.Now().Add(time.Hour), bound("new", 2), rotate))
	_, err := s.RevokeKey(t.Context(), ada.Tenant, "new", revoke)
	must(t, err)

	_, err = s.RevokeKey(t.Context(), ada.Tenant, "new", failed)
	must(t, err)
	_, err = s.RevokeKey(t.Context(), ada.Tenant, "absent", failed)
	wantErr(t, "revoke", err, store.ErrNotFound)
	wantErr(t, "put", s.PutKey(t.Context(), key("old", ada.Tenant, 9), failed), store.ErrExists)
	err = s.RotateKey(t.Context(), "new", time.Now(), bound("newer", 9), failed)
	wantErr(t, "rotate", err, store.ErrNotFound)

	put.Trainee, rotate.Trainee, revoke.Trainee = ada.Trainee, ada.Trainee, ada.Trainee
	same(t, "trail", trail(t, s, ada.Tenant, ada.Trainee), []store.AuditRecord{revoke, rotate, put})
	plain := acted("Put", 5)
	must(t, s.PutKey(t.Context(), key("plain", ada.Tenant, 1), plain))
	same(t, "trail", trail(t, s, ada.Tenant, "")[0], plain)
}
