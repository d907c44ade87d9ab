//go:build unix

package service_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/window/redistest"
	"example.com/steelyard/testdata/trials"
)

// Three services over one PostgreSQL and one Redis, which loses what it holds or
// is put back to what it held before.
func TestLinear_ReplicasOverPostgreSQL(t *testing.T) {
	db, redis := startPostgres(t), redistest.Start(t)
	var replicas []*running
	for range 3 {
		replicas = append(replicas, startWith(t, func(c *service.Config) {
			onPostgres(c, db)
			c.RedisURL, c.KeyRate, c.MaxInFlight = service.Secret("redis://"+redis.Addr), -1, 100
		}))
	}
	stop := torment(t, redis)
	testLinear(t, trials.Count(200, 3000), replicas)
	if n := stop(); n == 0 {
		t.Error("Redis was never tormented")
	} else {
		t.Logf("Redis was tormented %d times", n)
	}
}

func TestLinear_SQLite(t *testing.T) {
	testLinear(t, trials.Count(100, 1500), []*running{startWith(t, func(c *service.Config) { c.KeyRate, c.MaxInFlight = -1, 100 })})
}

// torment empties Redis or puts it back to what it was, again and again. The
// function that it returns ends that and says how often it was done.
func torment(t *testing.T, redis *redistest.Server) (stop func() int) {
	t.Helper()
	rng := trials.Chance(t)
	ctx, cancel := context.WithCancel(t.Context())
	var done sync.WaitGroup
	n := 0
	done.Go(func() {
		for ; ctx.Err() == nil; n++ {
			if rng.IntN(4) == 0 {
				redis.Client.FlushAll(ctx)
			}
			keys, _ := redis.Client.Keys(ctx, "*").Result()
			old := map[string]string{}
			for _, k := range keys {
				old[k], _ = redis.Client.Dump(ctx, k).Result()
			}
			time.Sleep(time.Duration(5+rng.IntN(60)) * time.Millisecond)
			for _, k := range keys {
				redis.Client.RestoreReplace(ctx, k, time.Hour, old[k])
			}
		}
	})
	return func() int { cancel(); done.Wait(); return n }
}

// testLinear judges so many histories, of a trainee each, a few at once.
func testLinear(t *testing.T, histories int, replicas []*running) {
	rng := trials.Chance(t)
	var lost, calls, shared, judged atomic.Int64
	next := make(chan int)
	var judges sync.WaitGroup
	for range 6 {
		rng := trials.Apart(rng)
		judges.Go(func() {
			for i := range next {
				id := fmt.Sprintf("t-%d", i)
				replicas[0].trainee(id)
				ops := history(t, rng, func(int) account { return accountOver(t, trials.Apart(rng), replicas, id, &shared) }, &lost)
				calls.Add(int64(len(ops)))
				judged.Add(1)
				if !mustDecide(t, ops) {
					t.Errorf("history of %s: no order of its calls explains %+v", id, ops)
				}
			}
		})
	}
	for i := 0; i < histories && !t.Failed(); i++ {
		next <- i
	}
	close(next)
	judges.Wait()
	t.Logf("%d histories of %d calls, %d reads from a bag, %d answers lost", judged.Load(), calls.Load(), shared.Load(), lost.Load())
	if lost.Load() == 0 || shared.Load() == 0 {
		t.Error("no answer was lost, or no window was shared: nothing was proved")
	}
}

// accountOver reaches a trainee through any of the replicas.
func accountOver(t *testing.T, rng *rand.Rand, replicas []*running, id string, shared *atomic.Int64) account {
	t.Helper()
	any := func() *running { return replicas[rng.IntN(len(replicas))] }
	return account{
		write: func(ctx context.Context, kg float64) (int64, error) {
			r, header := any(), metadata.MD{}
			_, err := r.logbook().CreateEntry(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+r.token),
				&pb.CreateEntryRequest{Parent: "trainees/" + id, Entry: weighIn(0, kg)}, grpc.Header(&header))
			if err != nil {
				return 0, err
			}
			told := header.Get(call.RevisionHeader)
			if len(told) != 1 {
				return 0, errors.New("the answer tells no revision")
			}
			return numberOf(t, told[0]), nil
		},
		read: func(context.Context) (held, error) {
			r := any()
			got, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/" + id + "/weightTrend", StartDate: day(0), EndDate: day(0)})
			if err != nil {
				return held{}, err
			}
			if got.GetSource() == pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
				shared.Add(1)
			}
			return held{numberOf(t, got.GetRevision()), got.GetPoints()[0].GetReadingKg()}, nil
		},
	}
}
