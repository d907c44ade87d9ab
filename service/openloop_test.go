package service

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// An open loop sends on a schedule, whatever comes back: as the world does, and
// unlike a loop that waits for its answers and so goes easy on a slow server.
// Latency and deadline both count from when a call was due to be sent, so that a
// late generator cannot make the server look good (no coordinated omission).

// stretch is a time at one rate.
type stretch struct {
	perSecond float64
	lasts     time.Duration
}

// shot is one call: when it was due, how long after that it was answered, how.
type shot struct {
	due, took time.Duration
	code      codes.Code
}

// shots are in no order.
type shots []shot

// openLoop makes calls on schedule and returns when all are answered.
func openLoop(ctx context.Context, deadline time.Duration, plan []stretch, call func(ctx context.Context, i int) error) shots {
	var due []time.Duration
	from := time.Duration(0)
	for _, s := range plan {
		gap := time.Duration(float64(time.Second) / s.perSecond)
		for at := from; at < from+s.lasts; at += gap {
			due = append(due, at)
		}
		from += s.lasts
	}
	out := make(shots, len(due))
	begin := time.Now()
	var all sync.WaitGroup
	for i, at := range due {
		time.Sleep(time.Until(begin.Add(at)))
		all.Go(func() {
			ctx, cancel := context.WithDeadline(ctx, begin.Add(at+deadline))
			defer cancel()
			err := call(ctx, i)
			out[i] = shot{at, time.Since(begin) - at, status.Code(err)}
		})
	}
	all.Wait()
	return out
}

// closedLoop makes calls one after the other from so many callers and returns
// how many a second were answered well.
func closedLoop(ctx context.Context, callers int, lasts time.Duration, call func(ctx context.Context, i int) error) float64 {
	var (
		all  sync.WaitGroup
		mu   sync.Mutex
		good int
	)
	begin := time.Now()
	for c := range callers {
		all.Go(func() {
			for i := c; time.Since(begin) < lasts; i += callers {
				if call(ctx, i) == nil {
					mu.Lock()
					good++
					mu.Unlock()
				}
			}
		})
	}
	all.Wait()
	return float64(good) / time.Since(begin).Seconds()
}

// between are the shots that were due in a time.
func (s shots) between(from, to time.Duration) shots {
	var out shots
	for _, x := range s {
		if x.due >= from && x.due < to {
			out = append(out, x)
		}
	}
	return out
}

// answeredBy are the shots that had their answer by then, whatever was in the
// queue at that time.
func (s shots) answeredBy(at time.Duration) shots {
	var out shots
	for _, x := range s {
		if x.due+x.took <= at {
			out = append(out, x)
		}
	}
	return out
}

// good counts what was answered well within the deadline.
func (s shots) good(deadline time.Duration) (n int) {
	for _, x := range s {
		if x.code == codes.OK && x.took <= deadline {
			n++
		}
	}
	return n
}

// p99 is the latency that 99 % of the shots with that code keep.
func (s shots) p99(c codes.Code) time.Duration {
	var took []time.Duration
	for _, x := range s {
		if x.code == c {
			took = append(took, x.took)
		}
	}
	if len(took) == 0 {
		return 0
	}
	slices.Sort(took)
	return took[(len(took)*99+99)/100-1]
}

// codes counts the shots by code.
func (s shots) codes() map[codes.Code]int {
	out := map[codes.Code]int{}
	for _, x := range s {
		out[x.code]++
	}
	return out
}

// String shows the counts by code.
func (s shots) String() string {
	counts := s.codes()
	var parts []string
	for c := codes.OK; c <= codes.Unauthenticated; c++ {
		if counts[c] > 0 {
			parts = append(parts, fmt.Sprintf("%d %v", counts[c], c))
		}
	}
	return strings.Join(parts, ", ")
}
