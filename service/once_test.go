//go:build unix

package service_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/window/redistest"
	"example.com/steelyard/testdata/trials"
)

// One request that arrives many times at once, at any replica, happens once, and
// everybody is told the same.
func TestOneRequestManyTimes(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) {
		testOnce(t, []*running{startWith(t, func(c *service.Config) { c.KeyRate = -1 })})
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		db, redis := startPostgres(t), redistest.Start(t)
		var replicas []*running
		for range 3 {
			replicas = append(replicas, startWith(t, func(c *service.Config) {
				onPostgres(c, db)
				c.RedisURL, c.KeyRate = service.Secret("redis://"+redis.Addr), -1
			}))
		}
		testOnce(t, replicas)
	})
}

func testOnce(t *testing.T, replicas []*running) {
	const atOnce = 32
	rounds := trials.Count(50, 1000)
	replicas[0].trainee("t1")
	again := 0
	var mu sync.Mutex
	for round := range rounds {
		// Two entries without a key of their own: each effect would be seen.
		req := &pb.BatchCreateEntriesRequest{
			Parent: "trainees/t1", RequestId: fmt.Sprintf("0d5a6fe5-6c8a-4a4c-b3f4-%012x", round),
			Entries: []*pb.Entry{weighIn(round, 80), intake(round, 2000)},
		}
		told := make([]string, atOnce)
		start := make(chan struct{})
		var callers sync.WaitGroup
		for i := range atOnce {
			r := replicas[i%len(replicas)]
			callers.Go(func() {
				<-start
				for deadline := time.Now().Add(30 * time.Second); ; {
					header := metadata.MD{}
					got, err := r.logbook().BatchCreateEntries(r.ctx(), req, grpc.Header(&header))
					if err == nil {
						b, err := proto.MarshalOptions{Deterministic: true}.Marshal(got)
						if err != nil {
							t.Error(err)
						}
						told[i] = fmt.Sprint(header.Get(call.RevisionHeader)) + string(b)
						return
					}
					after, hinted := fault.RetryAfter(status.Convert(err))
					if c := status.Code(err); c != codes.Aborted && c != codes.Unavailable && c != codes.ResourceExhausted || !hinted || time.Now().After(deadline) {
						t.Errorf("round %d: %v", round, err)
						return
					}
					mu.Lock()
					again++
					mu.Unlock()
					time.Sleep(after)
				}
			})
		}
		close(start)
		callers.Wait()
		for i := range told {
			if told[i] != told[0] || told[i] == "" {
				t.Fatalf("round %d: caller %d was told %q, caller 0 %q", round, i, told[i], told[0])
			}
		}
		tr, err := replicas[0].trainees().GetTrainee(replicas[0].ctx(), &pb.GetTraineeRequest{Name: "trainees/t1"})
		if err != nil {
			t.Fatal(err)
		}
		if n := numberOf(t, tr.GetRevision()); n != int64(round+2) {
			t.Fatalf("round %d: revision %d after %d requests", round, n, round+1)
		}
	}
	t.Logf("%d requests of %d callers each; %d calls were asked to come again", rounds, atOnce, again)
}
