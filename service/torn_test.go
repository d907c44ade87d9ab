//go:build unix

package service_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/window/redistest"
	"example.com/steelyard/testdata/trials"
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

// evenKg and oddKg are the weights of the two days at even and odd revisions.
const evenKg, oddKg = 60, 90

// Writers of several trainees share commits, so that there are many of them.
const tornTrainees = 8

func testTorn(t *testing.T, writer, other *running) {
	wantReads := int64(trials.Count(6000, 100_000))
	ctx, stop := context.WithTimeout(t.Context(), time.Duration(trials.Count(1, 10))*time.Minute)
	defer stop()
	writeTwo := func(id string, revision int64) {
		first, second := float64(evenKg), float64(oddKg)
		if revision%2 == 1 {
			first, second = second, first
		}
		_, err := writer.logbook().BatchCreateEntries(writer.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/" + id, Entries: []*pb.Entry{weighIn(0, first), weighIn(1, second)}})
		if err != nil {
			t.Errorf("write: %v", err)
			stop()
		}
	}
	var reads, torn, bagged, atEven, writes atomic.Int64
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
	trendOf := func(r *running, id string) error {
		got, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/" + id + "/weightTrend", StartDate: day(0), EndDate: day(1)})
		if err != nil {
			return err
		}
		if got.GetSource() == pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
			bagged.Add(1)
		}
		check(numberOf(t, got.GetRevision()), got.GetPoints()[0].GetReadingKg(), got.GetPoints()[1].GetReadingKg())
		return nil
	}
	logOf := func(r *running, id string) error {
		got, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/" + id})
		if err != nil || len(got.GetEntries()) != 2 {
			return fmt.Errorf("%d entries, %w", len(got.GetEntries()), err)
		}
		check(numberOf(t, got.GetRevision()), got.GetEntries()[0].GetWeighIn().GetWeightKg(), got.GetEntries()[1].GetWeighIn().GetWeightKg())
		return nil
	}
	var all sync.WaitGroup
	for i := range tornTrainees {
		id := fmt.Sprintf("t-%d", i)
		writer.trainee(id)
		writeTwo(id, 2)
		all.Go(func() {
			for revision := int64(3); ctx.Err() == nil; revision++ {
				writeTwo(id, revision)
				writes.Add(1)
			}
		})
		r := writer
		if i%2 == 1 && other != nil {
			r = other
		}
		all.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				read := trendOf
				if n%4 == 3 {
					read = logOf
				}
				if err := read(r, id); err != nil {
					t.Errorf("read: %v", err)
					return
				}
			}
		})
	}
	all.Wait()
	t.Logf("%d writes, %d reads, %d of even revisions, %d from a bag, %d torn", writes.Load(), reads.Load(), atEven.Load(), bagged.Load(), torn.Load())
	if torn.Load() > 0 {
		t.Errorf("%d torn reads", torn.Load())
	}
	if even := atEven.Load(); even == 0 || even == reads.Load() || reads.Load() < wantReads {
		t.Error("too few reads, or the writers never wrote between two: nothing was proved")
	}
}
