package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/testdata/trials"
)

// crowd is clients that write to a server which may be killed at any moment, and
// what they were told. They run in the test, which is never killed.
type crowd struct {
	trainees []string
	acked    chan struct{} // one for each acknowledgement, for who waits for progress

	mu     sync.Mutex
	writes []written
}

// written is one write: partsOfAWrite entries of one key.
type written struct {
	trainee, key string
	acked        bool
}

const (
	crowdSize     = 4
	partsOfAWrite = 3
)

// startCrowd begins to write. The function that it returns ends it.
func startCrowd(t *testing.T, rng *rand.Rand, address, key string) (*crowd, func()) {
	t.Helper()
	l := &crowd{trainees: []string{"t-anvil", "t-beam"}, acked: make(chan struct{}, 1<<20)}
	for _, tr := range l.trainees {
		dialAgain(t, address, key).create(t, tr)
	}
	ctx, stop := context.WithCancel(t.Context())
	var clients sync.WaitGroup
	for c := range crowdSize {
		by, rng, trainee := dialAgain(t, address, key), trials.Apart(rng), l.trainees[c%len(l.trainees)]
		clients.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if err := l.write(ctx, by, rng, trainee, fmt.Sprintf("c%d-%d", c, n)); err != nil {
					t.Errorf("write: %v", err)
					return
				}
			}
		})
	}
	return l, func() { stop(); clients.Wait() }
}

// write writes once. Half of the answers that were lost are asked for again with
// the same request id; the other half of the writes stay unknown. Its error is one
// that no server that is killed may give.
func (l *crowd) write(ctx context.Context, by caller, rng *rand.Rand, trainee, key string) error {
	req := &pb.BatchCreateEntriesRequest{Parent: "trainees/" + trainee, RequestId: fmt.Sprintf("%08x-0000-4000-8000-%012x", rng.Uint32(), rng.Uint64()>>16)}
	for i := range partsOfAWrite {
		req.Entries = append(req.Entries, &pb.Entry{
			Date: &date.Date{Year: 2025, Month: 3, Day: int32(1 + i)}, Key: key,
			Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: float64(500 + i), Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}}},
		})
	}
	again := rng.IntN(2) == 0
	w := written{trainee: trainee, key: key}
	defer func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.writes = append(l.writes, w)
	}()
	for {
		within, cancel := context.WithTimeout(ctx, 5*time.Second)
		_, err := pb.NewLogbookServiceClient(by.conn).BatchCreateEntries(by.ctx(within), req)
		cancel()
		switch {
		case err == nil:
			w.acked = true
			l.acked <- struct{}{}
			return nil
		case ctx.Err() != nil:
			return nil
		case status.Code(err) != codes.Unavailable && status.Code(err) != codes.DeadlineExceeded:
			return err
		}
		time.Sleep(5 * time.Millisecond)
		if !again {
			return nil
		}
	}
}

// progress waits until so many writes are acknowledged from now on.
func (l *crowd) progress(t *testing.T, n int) {
	t.Helper()
	for len(l.acked) > 0 {
		<-l.acked
	}
	deadline := time.After(time.Minute)
	for range n {
		select {
		case <-l.acked:
		case <-deadline:
			t.Fatal("nothing is acknowledged any more")
		}
	}
}

// check compares what is stored with what was acknowledged: each acknowledged
// write is there, every other is there wholly or not at all, nothing else is, and
// the revisions count those that are there.
func (l *crowd) check(t *testing.T, by caller) (acked, unknown, kept int) {
	t.Helper()
	stored := map[written]int{}
	applied, writes := map[string]int{}, map[string]int{}
	for _, trainee := range l.trainees {
		entries, n := by.log(t, trainee)
		writes[trainee] = n
		for _, e := range entries {
			stored[written{trainee: trainee, key: e.GetKey()}]++
		}
	}
	for _, w := range l.writes {
		id := written{trainee: w.trainee, key: w.key}
		parts := stored[id]
		delete(stored, id)
		switch {
		case w.acked && parts != partsOfAWrite:
			t.Errorf("acknowledged write %s of %s: %d of %d parts", w.key, w.trainee, parts, partsOfAWrite)
		case parts != 0 && parts != partsOfAWrite:
			t.Errorf("write %s of %s: %d of %d parts", w.key, w.trainee, parts, partsOfAWrite)
		}
		if parts == partsOfAWrite {
			applied[w.trainee]++
		}
		switch {
		case w.acked:
			acked++
		case parts > 0:
			kept++
			unknown++
		default:
			unknown++
		}
	}
	if len(stored) > 0 {
		t.Errorf("stored and never written: %v", stored)
	}
	for _, trainee := range l.trainees {
		if n := writes[trainee]; n != applied[trainee] {
			t.Errorf("%s: revision of %d writes, %d are there", trainee, n, applied[trainee])
		}
	}
	return acked, unknown, kept
}
