//go:build unix

package limit_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
)

// patient is a budget that a busy machine meets, hurried one for a Redis that
// does not answer.
const (
	patient = 5 * time.Second
	hurried = 50 * time.Millisecond
)

// replica is one process that shares rates with others.
type replica struct {
	*limit.Redis
	shared, failed, skipped atomic.Int64
	log                     bytes.Buffer
}

func newReplica(t *testing.T, address string, change func(*limit.RedisOptions)) *replica {
	t.Helper()
	client, err := redisbag.Client("redis://" + address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = client.Close() })
	x := &replica{}
	opt := limit.RedisOptions{
		Secret: []byte("secret"), Budget: patient, Pause: time.Hour, Log: slog.New(slog.NewTextHandler(&x.log, nil)),
		Count: func(_ context.Context, e limit.RedisEvent) {
			map[limit.RedisEvent]*atomic.Int64{limit.RateShared: &x.shared, limit.RateFailed: &x.failed, limit.RateSkipped: &x.skipped}[e].Add(1)
		},
	}
	if change != nil {
		change(&opt)
	}
	x.Redis = limit.NewRedis(client, opt)
	return x
}

// taken is how many of so many go ahead.
func taken(t *testing.T, r *limit.SharedRates, id string, tries int) int {
	t.Helper()
	n := 0
	for range tries {
		switch wait := r.Take(t.Context(), id); {
		case wait == 0:
			n++
		case wait < 0 || wait > time.Second:
			t.Fatalf("wait %v", wait)
		}
	}
	return n
}

// between checks a number that grows with the time that the test takes: a
// hundred, and one for each tenth of a second.
func between(t *testing.T, what string, n int, began time.Time) {
	t.Helper()
	if most := 100 + int(time.Since(began)/(100*time.Millisecond)) + 1; n < 100 || n > most {
		t.Errorf("%s: %d went ahead, want 100 to %d", what, n, most)
	}
}

func TestRedis_ReplicasShareARate(t *testing.T) {
	r := redistest.Start(t)
	one, two := newReplica(t, r.Addr, nil), newReplica(t, r.Addr, nil)
	began := time.Now()
	a, b := one.Rates("key", 10), two.Rates("key", 10)
	var n atomic.Int64
	var all sync.WaitGroup
	for _, rates := range []*limit.SharedRates{a, b, a, b} {
		all.Go(func() {
			for range 60 {
				if rates.Take(t.Context(), "k1") == 0 {
					n.Add(1)
				}
			}
		})
	}
	all.Wait()
	between(t, "together", int(n.Load()), began)
	// Other ids and other kinds are counted on their own.
	if got := taken(t, a, "k2", 50); got != 50 {
		t.Errorf("another id: %d of 50", got)
	}
	if got := taken(t, two.Rates("trainee", 10), "k1", 50); got != 50 {
		t.Errorf("another kind: %d of 50", got)
	}
	if one.failed.Load()+two.failed.Load() != 0 {
		t.Error("Redis failed")
	}
}

// TestRedis_SaysWhenToComeAgain: whoever waits as told goes ahead, and neither
// more nor less than one does.
func TestRedis_SaysWhenToComeAgain(t *testing.T) {
	r := redistest.Start(t)
	one, two := newReplica(t, r.Addr, nil).Rates("key", 2), newReplica(t, r.Addr, nil).Rates("key", 2)
	taken(t, one, "k1", 20)
	wait := two.Take(t.Context(), "k1")
	if wait <= 0 || wait > 500*time.Millisecond {
		t.Fatalf("%v", wait)
	}
	time.Sleep(wait)
	if wait := two.Take(t.Context(), "k1"); wait != 0 {
		t.Errorf("as told: %v", wait)
	}
}

// TestRedis_TellsNothing: no id lies there in clear or without the secret, and
// nothing lies there for long.
func TestRedis_TellsNothing(t *testing.T) {
	r := redistest.Start(t)
	x := newReplica(t, r.Addr, nil)
	other := newReplica(t, r.Addr, func(o *limit.RedisOptions) { o.Secret = []byte("another") })
	for _, one := range []*replica{x, other} {
		taken(t, one.Rates("trainee", 10), "gym-1/t-alice", 90) // which is known for nine seconds
	}
	keys, err := r.Client.Keys(t.Context(), "*").Result()
	if err != nil || len(keys) != 2 {
		t.Fatalf("%q, %v", keys, err)
	}
	for _, k := range keys {
		if strings.Contains(k, "alice") || strings.Contains(k, "gym") || len(k) != 3+32 {
			t.Errorf("key %q", k)
		}
		if ttl := r.Client.PTTL(t.Context(), k).Val(); ttl > 10*time.Second || ttl == -1 {
			t.Errorf("lies for %v", ttl)
		}
	}
}

func TestRedis_Stopped_EachCountsAlone(t *testing.T) {
	r := redistest.Start(t)
	line := redistest.NewProxy(t, r)
	x := newReplica(t, line.Addr, nil)
	began := time.Now()
	rates := x.Rates("key", 10)
	n := taken(t, rates, "k1", 60)
	line.Reset()
	n += taken(t, rates, "k1", 200)
	between(t, "before and after", n, began) // what went before is not forgotten
	if got := taken(t, rates, "k2", 50); got != 50 {
		t.Errorf("Redis is away: %d of 50 went ahead", got)
	}
	if x.failed.Load() != 5 || x.skipped.Load() == 0 || !strings.Contains(x.log.String(), "each replica counts alone") {
		t.Errorf("%d failed, %d skipped; %s", x.failed.Load(), x.skipped.Load(), x.log.String())
	}
	if strings.Contains(x.log.String(), "k1") || strings.Contains(x.log.String(), "secret") {
		t.Errorf("logged %s", x.log.String())
	}
}

// TestRedis_Hangs: it costs the budget a few times, then nothing, and is used
// again when it is back.
func TestRedis_Hangs(t *testing.T) {
	r := redistest.Start(t)
	x := newReplica(t, r.Addr, func(o *limit.RedisOptions) { o.Budget, o.Pause = hurried, 300*time.Millisecond })
	rates := x.Rates("key", 1000)
	for deadline := time.Now().Add(20 * time.Second); x.shared.Load() == 0; rates.Take(t.Context(), "k1") {
		if time.Now().After(deadline) {
			t.Fatal("Redis is never asked in time")
		}
	}
	r.Pause()
	if n := taken(t, rates, "k1", 1000); n != 1000 {
		t.Errorf("%d of 1000 went ahead while Redis hangs", n)
	}
	if x.failed.Load() < 5 || x.failed.Load() > 100 || x.skipped.Load() < 900 {
		t.Errorf("%d waited for it, %d did not", x.failed.Load(), x.skipped.Load())
	}
	r.Resume()
	shared := x.shared.Load()
	for deadline := time.Now().Add(20 * time.Second); x.shared.Load() == shared; time.Sleep(20 * time.Millisecond) {
		rates.Take(t.Context(), "k2")
		if time.Now().After(deadline) {
			t.Fatal("it is back, and not used")
		}
	}
}

// TestRedis_WaitsNoLongerThanTheBudget for each call, whatever the caller has.
func TestRedis_WaitsNoLongerThanTheBudget(t *testing.T) {
	hung := &hanging{}
	rates := limit.NewRedis(hung, limit.RedisOptions{Secret: []byte("s")}).Rates("key", 10)
	if wait := rates.Take(t.Context(), "k1"); wait != 0 {
		t.Errorf("refused for %v", wait)
	}
	if left := hung.left; left <= 0 || left > 5*time.Millisecond {
		t.Errorf("it may take %v", left)
	}
	// A caller that leaves says nothing of Redis.
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	for range 10 {
		rates.Take(gone, "k1")
	}
	if before := hung.asked; before != 11 {
		t.Errorf("asked %d times", before)
	}
}

// hanging is a Redis that answers when the caller gives up.
type hanging struct {
	redis.Scripter
	left  time.Duration
	asked int
}

func (h *hanging) EvalSha(ctx context.Context, _ string, _ []string, _ ...any) *redis.Cmd {
	deadline, _ := ctx.Deadline()
	if h.asked++; h.asked == 1 {
		h.left = time.Until(deadline)
	}
	<-ctx.Done()
	return redis.NewCmdResult(nil, ctx.Err())
}

// TestRedis_AFloodStaysHere: what this replica has seen too often by
// itself does not reach Redis.
func TestRedis_AFloodStaysHere(t *testing.T) {
	r := redistest.Start(t)
	x := newReplica(t, r.Addr, nil)
	began := time.Now()
	rates := x.Rates("key", 10)
	taken(t, rates, "k1", 1000)
	between(t, "asked", int(x.shared.Load()), began)
}

// TestRedis_WhatLiesThereWrongly counts for nothing: not garbage, not a time that
// a wrong clock has set.
func TestRedis_WhatLiesThereWrongly(t *testing.T) {
	r := redistest.Start(t)
	x := newReplica(t, r.Addr, nil)
	for i, wrong := range []string{"garbage", "", "inf", "nan", "-1", "1e300", fmt.Sprint(time.Now().Add(time.Hour).UnixMicro())} {
		rates := x.Rates(fmt.Sprint("kind ", i), 10)
		if err := r.Client.FlushDB(t.Context()).Err(); err != nil {
			t.Fatal(err)
		}
		rates.Take(t.Context(), "k1")
		keys := r.Client.Keys(t.Context(), "*").Val()
		if len(keys) != 1 {
			t.Fatalf("keys %q", keys)
		}
		if err := r.Client.Set(t.Context(), keys[0], wrong, 0).Err(); err != nil {
			t.Fatal(err)
		}
		if wait := rates.Take(t.Context(), "k1"); wait != 0 || x.failed.Load() != 0 {
			t.Errorf("%q: refused for %v, %d failed", wrong, wait, x.failed.Load())
		}
		if ttl := r.Client.PTTL(t.Context(), keys[0]).Val(); ttl <= 0 || ttl > 10*time.Second {
			t.Errorf("%q: lies for %v", wrong, ttl)
		}
	}
	// A key of another type is an error of Redis, and the process counts alone.
	rates := x.Rates("list", 10)
	if err := r.Client.FlushDB(t.Context()).Err(); err != nil {
		t.Fatal(err)
	}
	rates.Take(t.Context(), "k1")
	key := r.Client.Keys(t.Context(), "*").Val()[0]
	r.Client.Del(t.Context(), key)
	r.Client.LPush(t.Context(), key, "x")
	if wait := rates.Take(t.Context(), "k1"); wait != 0 || x.failed.Load() != 1 {
		t.Errorf("a list: refused for %v, %d failed", wait, x.failed.Load())
	}
}

func TestRedis_RatesInACluster(t *testing.T) {
	r := redistest.Start(t, "--cluster-enabled", "yes")
	if err := r.Client.ClusterAddSlotsRange(t.Context(), 0, 16383).Err(); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if info, _ := r.Client.ClusterInfo(t.Context()).Result(); strings.Contains(info, "cluster_state:ok") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the cluster does not form")
		}
	}
	x := newReplica(t, r.Addr+"?cluster=true", nil)
	began := time.Now()
	between(t, "in a cluster", taken(t, x.Rates("key", 10), "k1", 200), began)
	if x.failed.Load() != 0 {
		t.Errorf("%d failed", x.failed.Load())
	}
}
