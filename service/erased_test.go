//go:build unix

package service_test

import (
	"testing"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/window/redistest"
	"example.com/steelyard/testdata/trials"
)

// A trainee who is erased and made again under the same id reaches the same
// revisions again. Nobody is shown the first life's window then, although both
// replicas held it, and Redis gets back what it was asked to forget.
func TestErasedAndMadeAgain(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) {
		dir := t.TempDir()
		testErased(t, func(c *service.Config) { c.DataDir = dir })
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		db := startPostgres(t)
		testErased(t, func(c *service.Config) { onPostgres(c, db) })
	})
}

func testErased(t *testing.T, over func(*service.Config)) {
	const revisions = 4
	lives := trials.Count(10, 300)
	redis := redistest.Start(t)
	replicas := make([]*running, 2)
	for i := range replicas {
		replicas[i] = startWith(t, func(c *service.Config) {
			over(c)
			c.RedisURL, c.KeyRate, c.CheckWindows = service.Secret("redis://"+redis.Addr), -1, -1
		})
	}
	one := replicas[0]
	old := map[string]string{} // what Redis held
	put := 0
	for life := range lives {
		one.trainee("t1")
		kg := 60 + float64(life)/10
		for revision := range revisions {
			if _, err := one.logbook().CreateEntry(one.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(revision, kg)}); err != nil {
				t.Fatal(err)
			}
		}
		// Nobody has read in between: what they hold is of the life before, at this number.
		for key, value := range old {
			redis.Client.RestoreReplace(t.Context(), key, time.Hour, value)
			put++
		}
		for i, r := range replicas {
			got, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(0), EndDate: day(revisions - 1)})
			if err != nil {
				t.Fatal(err)
			}
			for n, p := range got.GetPoints() {
				if p.GetReadingKg() != kg {
					t.Fatalf("life %d, revision %s at replica %d: day %d weighs %v", life, got.GetRevision(), i, n, p.GetReadingKg())
				}
			}
		}
		for deadline := time.Now().Add(5 * time.Second); redis.Client.DBSize(t.Context()).Val() == 0 && time.Now().Before(deadline); {
			time.Sleep(5 * time.Millisecond) // the fill is off the request's way
		}
		keys, err := redis.Client.Keys(t.Context(), "*").Result()
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range keys {
			old[k], _ = redis.Client.Dump(t.Context(), k).Result()
		}
		if _, err := one.trainees().EraseTrainee(one.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d lives, Redis got an old window back %d times", lives, put)
	if put == 0 {
		t.Error("Redis never held a window: nothing was proved")
	}
}
