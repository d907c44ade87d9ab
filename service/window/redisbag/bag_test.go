//go:build unix

package redisbag_test

import (
	"bytes"
	"context"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/packed"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
)

func TestBag_GivesBackWhatItHolds(t *testing.T) {
	s := start(t)
	s.mustGet(t, alice, 0, redisbag.Miss)
	s.put(t, alice, 5)
	s.mustGet(t, alice, 5, redisbag.Hit)
	s.mustGet(t, bob, 0, redisbag.Miss)
	s.mustGet(t, store.Scope{Tenant: "gym-2", Trainee: alice.Trainee}, 0, redisbag.Miss)
	s.put(t, alice, 6)
	s.mustGet(t, alice, 6, redisbag.Hit)
	second := open(t, s.redis, s.redis.Addr, nil)
	second.mustGet(t, alice, 6, redisbag.Hit) // another replica
	s.Forget(t.Context(), alice)
	s.mustGet(t, alice, 0, redisbag.Miss)
	if s.of(redisbag.Forgotten) != 1 || s.log.String() != "" {
		t.Errorf("forgot %d times, logged %q", s.of(redisbag.Forgotten), s.log)
	}
}

// TestBag_NothingInClear: Redis knows no id and no value, and two seals of the
// same differ.
func TestBag_NothingInClear(t *testing.T) {
	s := start(t)
	s.put(t, alice, 5)
	key := s.key(t)
	if !regexp.MustCompile(`^w[0-9]+:[A-Za-z0-9_-]{32}$`).MatchString(key) {
		t.Errorf("key %q", key)
	}
	first := s.value(t, key)
	s.put(t, alice, 5)
	second := s.value(t, key)
	plain, err := packed.Append(nil, snapshot(alice, 5))
	if err != nil {
		t.Fatal(err)
	}
	for _, clear := range []string{alice.Tenant, alice.Trainee, "Invented", "00112233", string(plain[20:40])} {
		if strings.Contains(key+first, clear) {
			t.Errorf("%q shows", clear)
		}
	}
	if first == second || first[13:45] == second[13:45] {
		t.Error("sealed twice it is the same")
	}
}

func TestBag_TimeToLiveIsGivenAndSpread(t *testing.T) {
	r := redistest.Start(t)
	s := open(t, r, r.Addr, func(o *redisbag.Options) { o.TTL = 1000 * time.Second })
	seen := map[time.Duration]bool{}
	for range 20 {
		s.put(t, alice, 5)
		ttl, err := s.raw.PTTL(t.Context(), s.key(t)).Result()
		if err != nil || ttl > 1100*time.Second || ttl < 880*time.Second { // 900, less what a busy machine takes
			t.Fatalf("%s, %v", ttl, err)
		}
		seen[ttl.Truncate(time.Second)] = true
	}
	if len(seen) < 5 {
		t.Errorf("all of them end together: %v", seen)
	}
}

// TestBag_WhatIsNotItsOwnIsAMiss: whatever is put in its place by hand.
func TestBag_WhatIsNotItsOwnIsAMiss(t *testing.T) {
	s := start(t)
	s.put(t, alice, 5)
	aliceKey := s.key(t)
	s.put(t, bob, 7)
	bobKey := s.key(t, aliceKey)
	aliceValue, bobValue := s.value(t, aliceKey), s.value(t, bobKey)
	plain, err := packed.Append(nil, snapshot(alice, 9))
	if err != nil {
		t.Fatal(err)
	}
	flip := func(at int) string { b := []byte(aliceValue); b[at] ^= 1; return string(b) }
	for name, value := range map[string]string{
		"another trainee's": bobValue, "in clear": string(plain), "empty": "", "a byte": aliceValue[:1], "cut": aliceValue[:len(aliceValue)-1],
		"longer": aliceValue + "x", "another schema": flip(0), "another nonce": flip(3), "another content": flip(40), "another tag": flip(len(aliceValue) - 1),
		"made up": string(bytes.Repeat([]byte{packed.Schema}, 200)),
	} {
		s.set(t, aliceKey, value)
		n := s.of(redisbag.Rejected)
		if got, ok := s.Get(t.Context(), alice); ok || s.of(redisbag.Rejected) != n+1 {
			t.Errorf("%s: %v, %v", name, got, ok)
		}
	}
	s.set(t, aliceKey, aliceValue)
	s.mustGet(t, alice, 5, redisbag.Hit)

	// A wrong type is an answer that is an error.
	if err := s.raw.Del(t.Context(), aliceKey).Err(); err != nil {
		t.Fatal(err)
	}
	if err := s.raw.LPush(t.Context(), aliceKey, "x").Err(); err != nil {
		t.Fatal(err)
	}
	s.mustGet(t, alice, 0, redisbag.GetFailed)
}

func TestBag_AnotherSecretHoldsNothing(t *testing.T) {
	s := start(t)
	s.put(t, alice, 5)
	key := s.key(t)
	other := open(t, s.redis, s.redis.Addr, func(o *redisbag.Options) { o.Secret = bytes.Repeat([]byte("x"), 32) })
	other.mustGet(t, alice, 0, redisbag.Miss)
	other.put(t, alice, 6)
	otherKey := s.key(t, key)
	s.set(t, otherKey, s.value(t, key)) // forged under a guessed name
	other.mustGet(t, alice, 0, redisbag.Rejected)
	s.mustGet(t, alice, 5, redisbag.Hit)
}

// TestSource_TheAnswerIsTheSameWhateverRedisDoes goes through a source: each
// mishap costs a load and never changes what is served.
func TestSource_TheAnswerIsTheSameWhateverRedisDoes(t *testing.T) {
	s := start(t)
	src, tr := s.source()
	fill := func() {
		t.Helper()
		n := s.of(redisbag.Filled)
		s.mustServe(t, src, tr, alice)
		s.until(t, redisbag.Filled, n+1)
		if from := s.mustServe(t, src, tr, alice); from != window.FromBag {
			t.Error("what was filled does not serve")
		}
	}
	fill()
	key := s.key(t)
	var old []string
	for range 3 {
		old = append(old, s.value(t, key))
		tr.revisions[alice]++
		fill()
	}
	for name, mishap := range map[string]func(){
		"flushed":  func() { s.raw.FlushAll(t.Context()) },
		"evicted":  func() { s.raw.Del(t.Context(), key) },
		"expired":  func() { s.raw.PExpire(t.Context(), key, -1) },
		"garbage":  func() { s.set(t, key, "garbage") },
		"restored": func() { s.set(t, key, old[rand.IntN(3)]) },
		"oldest":   func() { s.set(t, key, old[0]) },
	} {
		mishap()
		n := s.of(redisbag.Filled)
		if from := s.mustServe(t, src, tr, alice); from != window.FromStore {
			t.Errorf("%s: served from the bag", name)
		}
		s.until(t, redisbag.Filled, n+1)
		if from := s.mustServe(t, src, tr, alice); from != window.FromBag {
			t.Errorf("%s: it does not recover", name)
		}
	}
}

// TestBag_EvictionIsAMiss in a Redis that is too small for all.
func TestBag_EvictionIsAMiss(t *testing.T) {
	r := redistest.Start(t, "--maxmemory", "1400kb", "--maxmemory-policy", "allkeys-lru")
	s := open(t, r, r.Addr, nil)
	scope := func(i int) store.Scope {
		return store.Scope{Tenant: "gym", Trainee: strings.Repeat("x", i%7) + string(rune('0'+i))}
	}
	const n = 2500
	for i := range n {
		s.Put(t.Context(), scope(i), snapshot(scope(i), int64(i)+1))
		if i%100 == 99 { // the queue has room for more
			s.until(t, redisbag.Filled, int64(i)+1)
		}
	}
	misses := 0
	for i := range n {
		got, ok := s.Get(t.Context(), scope(i))
		if !ok {
			misses++
		} else if got.Head.Revision != int64(i)+1 || got.Trainee.ID != scope(i).Trainee {
			t.Fatalf("%v has %v", scope(i), got.Head)
		}
	}
	if misses == 0 || misses == n || s.of(redisbag.GetFailed) > 0 {
		t.Errorf("%d of %d evicted, %d failed", misses, n, s.of(redisbag.GetFailed))
	}
}

// TestBag_AFullRedisIsStillRead: it refuses to write, and what it has is served.
func TestBag_AFullRedisIsStillRead(t *testing.T) {
	s := start(t)
	s.put(t, alice, 5)
	if err := s.raw.ConfigSet(t.Context(), "maxmemory", "1").Err(); err != nil {
		t.Fatal(err)
	}
	for i := range int64(20) {
		s.Put(t.Context(), bob, snapshot(bob, i+1))
		s.until(t, redisbag.FillFailed, i+1)
	}
	s.mustGet(t, alice, 5, redisbag.Hit)
	if s.of(redisbag.Opened) != 0 {
		t.Error("the breaker opened")
	}
}

func TestNew_Refuses(t *testing.T) {
	client, err := redisbag.Client("redis://127.0.0.1:1")
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	for name, opt := range map[string]redisbag.Options{
		"no secret": {}, "a short secret": {Secret: secret[:31]},
		"a negative ttl": {Secret: secret, TTL: -1}, "a negative budget": {Secret: secret, Budget: -1}, "a negative pause": {Secret: secret, Pause: -1},
	} {
		if b, err := redisbag.New(client, opt); err == nil {
			t.Errorf("%s is taken", name)
			_ = b.Close(context.Background())
		}
	}
}

func BenchmarkGet(b *testing.B) {
	s := start(b)
	s.put(b, alice, 5)
	for b.Loop() {
		if _, ok := s.Get(b.Context(), alice); !ok {
			b.Fatal("a miss")
		}
	}
}

// What waits to be put away when a trainee is forgotten is not put away after it.
func TestForget_WhatWaitsComesNoMore(t *testing.T) {
	s := start(t)
	whose := store.Scope{Tenant: "gym", Trainee: "erased"}
	for range 10 {
		for n := range 30 { // in front of it
			other := store.Scope{Tenant: "gym", Trainee: strconv.Itoa(n)}
			s.Put(t.Context(), other, snapshot(other, 1))
		}
		s.Put(t.Context(), whose, snapshot(whose, 1))
		s.Forget(t.Context(), whose)
		last := store.Scope{Tenant: "gym", Trainee: "last"}
		s.Put(t.Context(), last, snapshot(last, 1))
		for until := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
			if _, ok := s.Get(t.Context(), last); ok {
				break
			}
			if time.Now().After(until) {
				t.Fatal("what is put after it does not come either")
			}
		}
		if _, ok := s.Get(t.Context(), whose); ok {
			t.Fatal("the forgotten trainee is in Redis")
		}
		s.Forget(t.Context(), last)
	}
}
