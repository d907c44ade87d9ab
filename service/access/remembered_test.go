package access

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/service/store"
)

// TestRemembered_RevokedKeyStopsAfterMaxKeyAge: to the nanosecond, and counted
// from the reading, not from the last use.
func TestRemembered_RevokedKeyStopsAfterMaxKeyAge(t *testing.T) {
	a, s, token := issued(t, nil)
	now := issuedAt
	a.Now = func() time.Time { return now }
	remembered, err := NewRemembered(s, a.Now)
	if err != nil {
		t.Fatal(err)
	}
	a.Keys = remembered
	opens := func(want bool, asked int) {
		t.Helper()
		_, err := a.Bearer(t.Context(), "Bearer "+token)
		if (err == nil) != want || (!want && !errors.Is(err, ErrUnauthenticated)) || s.asked != asked {
			t.Errorf("after %v: %v, want opens %v; asked %d times, want %d", now.Sub(issuedAt), err, want, s.asked, asked)
		}
	}
	opens(true, 1)
	for id, k := range s.byID {
		k.Revoked = issuedAt
		s.byID[id] = k
	}
	for range 4 {
		now = now.Add(MaxKeyAge / 5)
		opens(true, 1)
	}
	now = issuedAt.Add(MaxKeyAge - 1)
	opens(true, 1)
	now = issuedAt.Add(MaxKeyAge)
	opens(false, 2)
	opens(false, 2) // the ended key is held as well
}

// TestRemembered_WhatEndsByItselfEndsInTime: a key that expires does so while it
// is held, and a wrong secret does not open a key that is.
func TestRemembered_WhatEndsByItselfEndsInTime(t *testing.T) {
	a, s, token := issued(t, func(k *store.Key) { k.Expires = issuedAt.Add(time.Second) })
	now := issuedAt
	a.Now = func() time.Time { return now }
	remembered, err := NewRemembered(s, a.Now)
	if err != nil {
		t.Fatal(err)
	}
	a.Keys = remembered
	if _, err := a.Bearer(t.Context(), "Bearer "+token); err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(token, "_")
	body := Prefix + "_" + parts[1] + "_" + strings.Repeat("a", len(parts[2]))
	if _, err := a.Bearer(t.Context(), "Bearer "+body+"_"+checksum(body)); !errors.Is(err, ErrUnauthenticated) {
		t.Errorf("with another secret: %v", err)
	}
	now = issuedAt.Add(time.Second)
	if _, err := a.Bearer(t.Context(), "Bearer "+token); !errors.Is(err, ErrUnauthenticated) || s.asked != 1 {
		t.Errorf("expired: %v; asked %d times", err, s.asked)
	}
}

// TestRemembered_HoldsNoFailure: neither that there is no such key nor that the
// store could not say.
func TestRemembered_HoldsNoFailure(t *testing.T) {
	s := &keys{byID: map[string]store.Key{}}
	r, err := NewRemembered(s, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	for _, failure := range []error{nil, store.ErrUnavailable, nil} {
		s.err = failure
		want := failure
		if want == nil {
			want = store.ErrNotFound
		}
		if _, err := r.Key(t.Context(), "k"); !errors.Is(err, want) {
			t.Errorf("%v, want %v", err, want)
		}
	}
	s.byID["k"] = store.Key{ID: "k"}
	if k, err := r.Key(t.Context(), "k"); err != nil || k.ID != "k" || s.asked != 4 {
		t.Errorf("once it is there: %v, %v, asked %d times", k, err, s.asked)
	}
}

// slowKeys finds each key after a while.
type slowKeys struct {
	takes time.Duration
	asked atomic.Int32
}

func (s *slowKeys) Key(ctx context.Context, id string) (store.Key, error) {
	s.asked.Add(1)
	select {
	case <-time.After(s.takes):
		return store.Key{ID: id}, nil
	case <-ctx.Done():
		return store.Key{}, ctx.Err()
	}
}

// TestRemembered_CallsTogetherShareARead, and one that leaves takes nobody with it.
func TestRemembered_CallsTogetherShareARead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &slowKeys{takes: time.Second}
		r, err := NewRemembered(s, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		impatient, leave := context.WithTimeout(t.Context(), time.Second/2)
		defer leave()
		var done sync.WaitGroup
		done.Go(func() { // it begins the read
			if _, err := r.Key(impatient, "k"); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("the impatient one: %v", err)
			}
		})
		synctest.Wait()
		for range 50 {
			done.Go(func() {
				if k, err := r.Key(t.Context(), "k"); err != nil || k.ID != "k" {
					t.Errorf("%v, %v", k, err)
				}
			})
		}
		done.Wait()
		if n := s.asked.Load(); n != 1 {
			t.Errorf("asked %d times", n)
		}
		time.Sleep(MaxKeyAge - time.Second) // the reading began a second ago
		if _, err := r.Key(t.Context(), "k"); err != nil || s.asked.Load() != 2 {
			t.Errorf("%v, asked %d times: the age counts from the end of the reading", err, s.asked.Load())
		}
	})
}

func TestRemembered_ReadThatTakesTooLongIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, err := NewRemembered(&slowKeys{takes: time.Hour}, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		_, err = r.Key(t.Context(), "k")
		if !errors.Is(err, store.ErrUnavailable) || time.Since(began) != MaxKeyAge {
			t.Errorf("after %v: %v", time.Since(began), err)
		}
	})
}

// panicking is a store with a bug.
type panicking struct{}

func (panicking) Key(context.Context, string) (store.Key, error) { panic("bug") }

func TestRemembered_PanicIsAnError(t *testing.T) {
	r, err := NewRemembered(panicking{}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Key(t.Context(), "k"); err == nil || errors.Is(err, store.ErrNotFound) {
		t.Errorf("%v", err)
	}
}

// TestRemembered_IsBounded whatever keys there are.
func TestRemembered_IsBounded(t *testing.T) {
	r, err := NewRemembered(&slowKeys{}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 * rememberedKeys {
		if _, err := r.Key(t.Context(), fmt.Sprint(i)); err != nil {
			t.Fatal(err)
		}
	}
	r.held.CleanUp()
	if n := r.held.EstimatedSize(); n > rememberedKeys || n < rememberedKeys/2 {
		t.Errorf("holds %d keys", n)
	}
}

func TestBearer_TellsWhichKeyWasUsed(t *testing.T) {
	a, s, token := issued(t, nil)
	var used []string
	a.Used = func(id string, at time.Time) { used = append(used, fmt.Sprint(id, at.Equal(a.Now()))) }
	for _, header := range []string{"Bearer " + token, "Bearer " + token + "x", ""} {
		_, _ = a.Bearer(t.Context(), header)
	}
	for id := range s.byID {
		if fmt.Sprint(used) != "["+id+"true]" {
			t.Errorf("used %v", used)
		}
	}
}

// TestOpened_OnlyForTheSameHeader: a principal is of one credential.
func TestOpened_OnlyForTheSameHeader(t *testing.T) {
	if p, ok := Opened(t.Context(), ""); ok || p.Tenant != "" {
		t.Errorf("nobody's: %+v", p)
	}
	ctx := WithOpened(t.Context(), "Bearer a", Principal{Tenant: "gym-1"})
	for header, want := range map[string]bool{"Bearer a": true, "Bearer b": false, "": false, "bearer a": false, "Bearer a ": false} {
		if p, ok := Opened(ctx, header); ok != want || (p.Tenant == "gym-1") != want {
			t.Errorf("%q: %+v, %v", header, p, ok)
		}
	}
	if From(ctx).Tenant != "" {
		t.Error("it is a principal before the chain has taken it over")
	}
}
