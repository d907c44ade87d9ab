package storetest

import (
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

// "RotateKey adds a key of the same tenant, and lets the old one end at a time unless
// it ends sooner by itself."
func rotateOverlaps(t *testing.T, s store.Store) {
	now := time.Now().UTC().Truncate(time.Second)
	for i, c := range []struct{ expires, ends, want time.Time }{
		{time.Time{}, now.Add(time.Hour), now.Add(time.Hour)},
		{now.Add(2 * time.Hour), now.Add(time.Hour), now.Add(time.Hour)},
		{now.Add(time.Hour), now.Add(2 * time.Hour), now.Add(time.Hour)},
		{time.Time{}, now.Add(-time.Hour), now.Add(-time.Hour)}, // at once
	} {
		old, next := key("old"+string(rune('0'+i)), "t", i), key("new"+string(rune('0'+i)), "t", 10+i)
		old.Expires = c.expires
		must(t, s.PutKey(t.Context(), old, act()))
		must(t, s.RotateKey(t.Context(), old.ID, c.ends, next, act()))
		old.Expires = c.want
		for _, want := range []store.Key{old, next} {
			got, err := s.Key(t.Context(), want.ID)
			must(t, err)
			same(t, "key", got, want)
		}
	}
}

// "ErrNotFound when the tenant has no live key of the old id": then there is no new
// one either.
func rotateOfNoLiveKey(t *testing.T, s store.Store) {
	revoked, expired := key("revoked", "t", 1), key("expired", "t", 2)
	revoked.Revoked, expired.Expires = time.Unix(5, 0).UTC(), time.Unix(5, 0).UTC()
	for _, k := range []store.Key{revoked, expired, key("foreign", "another", 3)} {
		must(t, s.PutKey(t.Context(), k, act()))
	}
	for _, old := range []string{"revoked", "expired", "foreign", "absent"} {
		err := s.RotateKey(t.Context(), old, time.Now().Add(time.Hour), key("new", "t", 9), act())
		wantErr(t, "rotate "+old, err, store.ErrNotFound)
		_, err = s.Key(t.Context(), "new")
		wantErr(t, "new key", err, store.ErrNotFound)
	}
	got, err := s.Key(t.Context(), "foreign")
	must(t, err)
	same(t, "the other tenant's", got, key("foreign", "another", 3))
}

// "ErrExists when the new id is taken, whatever the old key is by now": a rotation
// that is sent again finds its own key, and changes nothing.
func rotateToATakenID(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("old", "t", 1), act()))
	ended := time.Now().Add(-time.Hour).UTC().Truncate(time.Second)
	must(t, s.RotateKey(t.Context(), "old", ended, key("new", "t", 2), act()))
	for _, old := range []string{"old", "new", "absent"} {
		err := s.RotateKey(t.Context(), old, ended.Add(-time.Hour), key("new", "t", 3), act())
		wantErr(t, "rotate again", err, store.ErrExists)
	}
	list, err := s.ListKeys(t.Context(), "t", "", 100)
	must(t, err)
	old := key("old", "t", 1)
	old.Expires = ended
	same(t, "keys", list, []store.Key{old, key("new", "t", 2)})
}

func rotateOfABoundKey(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, s.PutKey(t.Context(), bound("old", 1), act()))
	must(t, s.RotateKey(t.Context(), "old", time.Now().Add(time.Hour), bound("new", 2), act()))
	_, err := s.Erase(t.Context(), ada, act())
	must(t, err)
	err = s.RotateKey(t.Context(), "old", time.Now().Add(time.Hour), bound("late", 3), act())
	wantErr(t, "rotate after the erasure", err, store.ErrNotFound)
}
