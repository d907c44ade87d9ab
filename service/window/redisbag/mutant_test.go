//go:build unix

package redisbag_test

import (
	"context"
	"strconv"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window/packed"
	"example.com/steelyard/service/window/redisbag"
)

// versioned is a design that looks right and is not: whoever writes or loads
// puts the snapshot into Redis unless a later one lies there, and whoever reads
// trusts what lies there. Without faults nothing shows.
type versioned struct {
	w      *world
	client redis.UniversalClient
}

// putIfLater compares and sets in one step.
var putIfLater = redis.NewScript(`
local old = redis.call('GET', KEYS[1])
if old and tonumber(string.sub(old, 1, 20)) >= tonumber(ARGV[1]) then return 0 end
redis.call('SET', KEYS[1], ARGV[1] .. ARGV[2])
return 1`)

func (v versioned) put(ctx context.Context, sc store.Scope, snap store.Snapshot) {
	value, err := packed.Append(nil, snap)
	if err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, patient)
	defer cancel()
	version := strconv.FormatInt(1e15+v.w.positionOf(snap.Head), 10)
	putIfLater.Eval(ctx, v.client, []string{"v:" + sc.Trainee}, ("00000000000000000000" + version)[len(version):], value)
}

func (v versioned) read(ctx context.Context, sc store.Scope) (store.Snapshot, error) {
	asking, cancel := context.WithTimeout(ctx, patient)
	defer cancel()
	if value, err := v.client.Get(asking, "v:"+sc.Trainee).Bytes(); err == nil && len(value) > 20 {
		if snap, err := packed.Decode(value[20:]); err == nil {
			return snap, nil
		}
	}
	return v.load(ctx, sc)
}

func (v versioned) load(ctx context.Context, sc store.Scope) (store.Snapshot, error) {
	snap, err := v.w.store.Snapshot(ctx, sc, day0)
	if err == nil {
		v.put(ctx, sc, snap)
	}
	return snap, err
}

func (v versioned) wrote(ctx context.Context, sc store.Scope, _ store.Head) { _, _ = v.load(ctx, sc) }

// TestRandom_FindsAVersionedSet: a test that cannot see a wrong design would
// prove nothing of the right one. It takes a tenth of a second, and less
// than half of one on a busy machine under the race detector.
func TestRandom_FindsAVersionedSet(t *testing.T) {
	w := newWorld(t, onSQLite(t), func(w *world, _ int) replica {
		client, err := redisbag.Client("redis://" + w.line.Addr)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = client.Close() })
		return versioned{w, client}
	})
	violation, after := w.run(t, 1, 5*time.Second)
	if violation == "" {
		t.Fatalf("nothing was found in %s: %d reads, %d writes, deeds %d", after, w.reads.Load(), w.writes.Load(), w.deedCounts())
	}
	t.Logf("after %s: %s", after.Round(time.Millisecond), violation)
}
