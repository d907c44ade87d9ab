package backfill

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Client sends uploads. The zero values of all but Log are good.
type Client struct {
	Log steelyardv1.LogbookServiceClient

	// Attempts is how often it is tried in a row without any progress before
	// giving up; 8 when 0.
	Attempts int
	// BatchTimeout is how long an acknowledgement may take; 30 s when 0.
	BatchTimeout time.Duration
	// Acknowledged is told after each acknowledgement how many entries of the
	// upload are behind it; may be nil.
	Acknowledged func(entries int)
	// Broke is told about a break that will be retried; may be nil.
	Broke func(err error, wait time.Duration)
	// Sleep waits between attempts; time's own when nil.
	Sleep func(ctx context.Context, d time.Duration) error
}

const (
	defaultAttempts     = 8
	defaultBatchTimeout = 30 * time.Second
	// maxUnacknowledged batches may be on their way: the server writes up to 8 in
	// one transaction, and so reads the next ones meanwhile. Few enough to send again.
	maxUnacknowledged = 16
	firstWait         = 100 * time.Millisecond
	longestWait       = 5 * time.Second
)

// Send brings an upload to the server. After an error the result says how far it
// came, and the same call continues from there. The error carries the server's
// status where there is one.
func (c Client) Send(ctx context.Context, u Upload) (Result, error) {
	if c.BatchTimeout <= 0 {
		c.BatchTimeout = defaultBatchTimeout
	}
	s := &sending{client: c, upload: u, batches: u.batches(), next: -1}
	streams := 0
	err := c.Retry(ctx, func() (bool, error) {
		streams++
		before := s.next
		err := s.stream(ctx)
		return s.next > before, err
	})
	s.result.Breaks = max(streams-1, 0)
	return s.result, err
}

// Retry tries until it succeeds, fails for good, or fails Attempts times in a
// row without any progress.
func (c Client) Retry(ctx context.Context, try func() (progressed bool, err error)) error {
	attempts, sleepFor := c.Attempts, c.Sleep
	if attempts <= 0 {
		attempts = defaultAttempts
	}
	if sleepFor == nil {
		sleepFor = sleep
	}
	for failed := 0; ; {
		progressed, err := try()
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case !transient(err):
			return err
		}
		if failed++; progressed {
			failed = 1
		}
		if failed >= attempts {
			return fmt.Errorf("gave up after %d attempts: %w", failed, err)
		}
		wait := backoff(failed)
		if c.Broke != nil {
			c.Broke(err, wait)
		}
		if err := sleepFor(ctx, wait); err != nil {
			return err
		}
	}
}

// errBroken is a stream that ended or went silent without a status of its own.
var errBroken = errors.New("the connection broke")

// transient reports whether another attempt may do better. Internal is among
// them because it is also what a torn connection looks like.
func transient(err error) bool {
	if errors.Is(err, errBroken) {
		return true
	}
	switch status.Code(err) {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Aborted, codes.ResourceExhausted, codes.Internal, codes.Canceled:
		return true
	}
	return false
}

// backoff doubles from firstWait to longestWait and spreads over the upper half,
// so that many clients do not come back at once.
func backoff(failed int) time.Duration {
	d := min(firstWait<<min(failed-1, 16), longestWait)
	return d/2 + rand.N(d/2) // #nosec G404 -- jitter
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
