//go:build unix

package service_test

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/window/redistest"
)

// A read is of one revision: the label that it carries and everything in it. A
// writer turns two days over with every revision, one up and one down; a reader who
// ever sees two days of different revisions, or of another than the label's, has
// seen a torn one.
func TestReadIsOfOneRevision(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) {
		testTorn(t, startWith(t, func(c *service.Config) { c.KeyRate, c.MaxInFlight = -1, 100 }), nil)
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		db, redis := startPostgres(t), redistest.Start(t)
		replica := func() *running {
			return startWith(t, func(c *service.Config) {
				onPostgres(c, db)
				c.RedisURL, c.KeyRate, c.MaxInFlight = service.Secret("redis://"+redis.Addr), -1, 100
			})
		}
		testTorn(t, replica(), replica())
	})
}

// even and odd are the weights of the two days at even and odd revisions.
const evenKg, oddKg = 60, 90

func testTorn(t *testing.T, writer, other *running) {
	wantReads := int64(trials(3000, 100_000))
	writer.trainee("t1")
	ctx, stop := context.WithTimeout(t.Context(), time.Minute+time.Duration(trials(0, 10))*time.Minute)
	defer stop()
	writeTwo := func(revision int64) {
		first, second := float64(evenKg), float64(oddKg)
		if revision%2 == 1 {
			first, second = second, first
		}
		_, err := writer.logbook().BatchCreateEntries(writer.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{weighIn(0, first), weighIn(1, second)}})
		if err != nil {
			t.Errorf("write: %v", err)
			stop()
		}
	}
	writeTwo(2)
	var reads, torn, bagged, atEven atomic.Int64
	check := func(revision int64, first, second float64) {
		want := float64(evenKg)
		if revision%2 == 1 {
			want = oddKg
		}
		if first != want || second != evenKg+oddKg-want {
			torn.Add(1)
		}
		if revision%2 == 0 {
			atEven.Add(1)
		}
		if reads.Add(1) >= wantReads {
			stop()
		}
	}
	var all sync.WaitGroup
	all.Go(func() {
		for revision := int64(3); ctx.Err() == nil; revision++ {
			writeTwo(revision)
		}
	})
	for i := range 4 {
		r := writer
		if i%2 == 1 && other != nil {
			r = other
		}
		all.Go(func() {
			for ctx.Err() == nil {
				got, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(0), EndDate: day(1)})
				if err != nil {
					t.Errorf("read: %v", err)
					return
				}
				if got.GetSource() == pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
					bagged.Add(1)
				}
				check(numberOf(t, got.GetRevision()), got.GetPoints()[0].GetReadingKg(), got.GetPoints()[1].GetReadingKg())
				listed, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1"})
				if err != nil || len(listed.GetEntries()) != 2 {
					t.Errorf("list: %v, %v", listed, err)
					return
				}
				check(numberOf(t, listed.GetRevision()), listed.GetEntries()[0].GetWeighIn().GetWeightKg(), listed.GetEntries()[1].GetWeighIn().GetWeightKg())
			}
		})
	}
	all.Wait()
	t.Logf("%d reads, %d of even revisions, %d from a bag, %d torn", reads.Load(), atEven.Load(), bagged.Load(), torn.Load())
	if torn.Load() > 0 {
		t.Errorf("%d torn reads", torn.Load())
	}
	if even := atEven.Load(); even == 0 || even == reads.Load() {
		t.Error("the writer never wrote between two reads: nothing was proved")
	}
}
