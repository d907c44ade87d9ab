package access

import (
	"context"
	"errors"
	"maps"
	"sync"
	"testing"
	"time"
)

// noted is a store of uses; each flush is one entry.
type noted struct {
	err     error
	flushes []map[string]time.Time
}

func (n *noted) UsedKeys(_ context.Context, used map[string]time.Time) error {
	if n.err == nil {
		n.flushes = append(n.flushes, maps.Clone(used))
	}
	return n.err
}

func (n *noted) want(t *testing.T, flushes ...map[string]time.Time) {
	t.Helper()
	if len(n.flushes) != len(flushes) {
		t.Fatalf("%d flushes, want %d", len(n.flushes), len(flushes))
	}
	for i := range flushes {
		if !maps.EqualFunc(n.flushes[i], flushes[i], time.Time.Equal) {
			t.Errorf("flush %d: %v, want %v", i, n.flushes[i], flushes[i])
		}
	}
	n.flushes = nil
}

func TestUses_LatestMinuteOfEach(t *testing.T) {
	n := &noted{}
	u := &Uses{Keys: n}
	minute := issuedAt.Add(time.Minute)
	if err := u.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	n.want(t)
	u.Use("a", minute.Add(59*time.Second))
	u.Use("b", issuedAt.In(time.FixedZone("", 3600)))
	u.Use("a", issuedAt) // comes late
	for range 2 {
		if err := u.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	n.want(t, map[string]time.Time{"a": minute, "b": issuedAt})
}

// What could not be noted is noted later, without what is newer getting lost.
func TestUses_FailureForgetsNothing(t *testing.T) {
	n := &noted{err: errors.New("down")}
	u := &Uses{Keys: n}
	u.Use("a", issuedAt)
	u.Use("b", issuedAt)
	if err := u.Flush(t.Context()); !errors.Is(err, n.err) {
		t.Errorf("error %v", err)
	}
	u.Use("a", issuedAt.Add(time.Hour))
	n.err = nil
	if err := u.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	n.want(t, map[string]time.Time{"a": issuedAt.Add(time.Hour), "b": issuedAt})
}

func TestUses_FromManyAtOnce(t *testing.T) {
	n := &noted{}
	u := &Uses{Keys: n}
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for j := range 100 {
				u.Use("a", issuedAt.Add(time.Duration(i*100+j)*time.Minute))
			}
		})
	}
	all.Wait()
	if err := u.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	n.want(t, map[string]time.Time{"a": issuedAt.Add(799 * time.Minute)})
}

// TestBearer_TellsOfUse: of a key that opened, and of nothing else.
func TestBearer_TellsOfUse(t *testing.T) {
	a, s, token := issued(t, nil)
	var used []string
	a.Used = func(id string, at time.Time) {
		if !at.Equal(a.Now()) {
			t.Errorf("used at %v", at)
		}
		used = append(used, id)
	}
	if _, err := a.Bearer(t.Context(), "Bearer "+token+"x"); err == nil {
		t.Error("opened")
	}
	p, err := a.Bearer(t.Context(), "Bearer "+token)
	if err != nil {
		t.Fatal(err)
	}
	for id, k := range s.byID {
		k.Revoked = issuedAt
		s.byID[id] = k
	}
	if _, err := a.Bearer(t.Context(), "Bearer "+token); err == nil {
		t.Error("opened")
	}
	if len(used) != 1 || used[0] != p.KeyID {
		t.Errorf("used %q", used)
	}
}
