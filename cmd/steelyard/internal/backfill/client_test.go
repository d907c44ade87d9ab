package backfill

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
)

func noSleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func upload(entries int) Upload {
	u := Upload{Trainee: "t-a", SHA256: strings.Repeat("ab", 32)}
	for i := range entries {
		u.Entries = append(u.Entries, &pb.Entry{
			Date: &date.Date{Year: 2025, Month: 1, Day: 1}, Key: fmt.Sprint(i),
			Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 80, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}},
		})
	}
	return u
}

func checkApplied(t *testing.T, f *fake, u Upload) {
	t.Helper()
	got := f.uploads[u.ID()]
	if got == nil {
		t.Fatal("the upload never arrived")
	}
	want := slices.DeleteFunc(slices.Clone(u.Entries), func(e *pb.Entry) bool { return f.refuse != nil && f.refuse(e) })
	f.mu.Lock()
	defer f.mu.Unlock()
	if !slices.EqualFunc(want, got.applied, func(a, b *pb.Entry) bool { return proto.Equal(a, b) }) {
		t.Errorf("of %d entries %d were applied, or others, or in another order", len(want), len(got.applied))
	}
}

func TestSendInOrder(t *testing.T) {
	for _, n := range []int{0, 1, 500, 501, 2600} {
		f := &fake{}
		c := start(t, f)
		var behind []int
		c.Acknowledged = func(n int) { behind = append(behind, n) }
		u := upload(n)
		r, err := c.Send(context.Background(), u)
		if err != nil {
			t.Fatal(err)
		}
		if r.Sent != n || r.AlreadyThere != 0 || r.Breaks != 0 || r.Applied != n || r.Untold() != 0 {
			t.Errorf("%d entries: %+v", n, r)
		}
		checkApplied(t, f, u)
		if !slices.IsSorted(behind) || behind[len(behind)-1] != n {
			t.Errorf("%d entries: acknowledged %v", n, behind)
		}
		// The same upload again sends nothing.
		r, err = c.Send(context.Background(), u)
		if err != nil || r.Sent != 0 || r.AlreadyThere != n || r.Untold() != 0 {
			t.Errorf("%d entries, again: %+v, %v", n, r, err)
		}
		checkApplied(t, f, u)
	}
}

// At random points the stream breaks in every way that it can; each entry is
// applied once all the same, in order.
func TestBreakAndResumeAtRandomPoints(t *testing.T) {
	breaks := 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 1))
		f := &fake{}
		ended := []fate{loseIt, loseAnswer, endCleanly, answerAmiss, answerStale}
		f.onBatch = func(int) fate {
			if rng.Float64() < 0.4 {
				return ended[rng.IntN(len(ended))]
			}
			return apply
		}
		c := start(t, f)
		c.Attempts = 50
		u := upload(1 + rng.IntN(3000))
		r, err := c.Send(context.Background(), u)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if r.Sent != len(u.Entries) || r.AlreadyThere != 0 || r.Breaks != f.openers-1 {
			t.Errorf("seed %d: %+v after %d openings", seed, r, f.openers)
		}
		checkApplied(t, f, u)
		breaks += r.Breaks
	}
	if breaks < 40 {
		t.Errorf("only %d breaks were met", breaks)
	}
	t.Logf("%d breaks", breaks)
}

// A client that stops half-way leaves an upload that the next one continues.
func TestAnotherRunContinues(t *testing.T) {
	f := &fake{}
	c := start(t, f)
	const entries = 15_000 // more than may be on the way when the first run ends
	u := upload(entries)
	ctx, stop := context.WithCancel(context.Background())
	c.Acknowledged = func(n int) {
		if n >= 2000 {
			stop()
		}
	}
	if _, err := c.Send(ctx, u); !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v", err)
	}
	c.Acknowledged = nil
	r, err := c.Send(context.Background(), u)
	if err != nil {
		t.Fatal(err)
	}
	if r.AlreadyThere < 2000 || r.Sent == 0 || r.Sent+r.AlreadyThere != entries {
		t.Errorf("%+v", r)
	}
	checkApplied(t, f, u)
}

func TestSilenceIsABreak(t *testing.T) {
	f := &fake{onBatch: func(nth int) fate {
		if nth == 1 {
			return fallSilent
		}
		return apply
	}}
	c := start(t, f)
	c.BatchTimeout = 200 * time.Millisecond
	var why []string
	c.Broke = func(err error, _ time.Duration) { why = append(why, err.Error()) }
	u := upload(2000)
	ctx, stop := context.WithTimeout(context.Background(), time.Minute) // so that a client that waits for ever fails
	defer stop()
	r, err := c.Send(ctx, u)
	if err != nil || r.Breaks != 1 || r.Sent != 2000 {
		t.Fatalf("%+v, %v", r, err)
	}
	if d := cmp.Diff([]string{"the connection broke: no answer within 200ms"}, why); d != "" {
		t.Error(d)
	}
	checkApplied(t, f, u)
}

func TestRefusalsPointIntoTheUpload(t *testing.T) {
	odd := map[string]bool{"3": true, "499": true, "500": true, "1200": true}
	f := &fake{refuse: func(e *pb.Entry) bool { return odd[e.GetKey()] }}
	c := start(t, f)
	u := upload(1300)
	r, err := c.Send(context.Background(), u)
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, x := range r.Refused {
		got = append(got, x.Index)
		if x.Field != "date" || x.Problem != "is refused" {
			t.Errorf("%+v", x)
		}
	}
	if d := cmp.Diff([]int{3, 499, 500, 1200}, got); d != "" {
		t.Error(d)
	}
	if r.Applied != 1296 || r.Untold() != 0 {
		t.Errorf("%+v", r)
	}
	checkApplied(t, f, u)
}

// A refusal whose answer was lost is counted, though not where it was.
func TestARefusalWhoseAnswerIsLostIsCounted(t *testing.T) {
	f := &fake{refuse: func(e *pb.Entry) bool { return e.GetKey() == "7" }}
	f.onBatch = func(nth int) fate {
		if nth == 0 {
			return loseAnswer
		}
		return apply
	}
	c := start(t, f)
	r, err := c.Send(context.Background(), upload(600))
	if err != nil || len(r.Refused) != 0 || r.Untold() != 1 {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestGivesUp(t *testing.T) {
	f := &fake{onBatch: func(nth int) fate {
		if nth < 2 {
			return apply
		}
		return loseIt
	}}
	c := start(t, f)
	c.Attempts = 3
	r, err := c.Send(context.Background(), upload(2000))
	if status.Code(err) != codes.Unavailable || !strings.HasPrefix(err.Error(), "gave up after 3 attempts: ") {
		t.Errorf("got %v", err)
	}
	if f.openers != 3 || r.Sent != 1000 {
		t.Errorf("%d openings, %+v", f.openers, r)
	}
}

func TestDoesNotRetryWhatCannotHelp(t *testing.T) {
	f := &fake{}
	c := start(t, f)
	u := upload(10)
	if _, err := c.Send(context.Background(), u); err != nil {
		t.Fatal(err)
	}
	f.uploads[u.ID()].sha = "other"
	if _, err := c.Send(context.Background(), u); status.Code(err) != codes.FailedPrecondition || f.openers != 2 {
		t.Errorf("got %v after %d openings", err, f.openers)
	}
	f.uploads[u.ID()] = &fakeUpload{sha: u.SHA256, next: 7}
	if _, err := c.Send(context.Background(), u); err == nil || !strings.Contains(err.Error(), "begun by another version") || f.openers != 3 {
		t.Errorf("got %v after %d openings", err, f.openers)
	}
}

// A server that forgets what it acknowledged is reported, not papered over.
func TestLostAcknowledgedDataIsReported(t *testing.T) {
	f := &fake{}
	c := start(t, f)
	u := upload(2000)
	f.onBatch = func(nth int) fate {
		if nth == 2 {
			return loseIt
		}
		return apply
	}
	c.Broke = func(error, time.Duration) { f.uploads[u.ID()].next = 1 }
	if _, err := c.Send(context.Background(), u); err == nil || !strings.Contains(err.Error(), "which it had acknowledged") {
		t.Errorf("got %v", err)
	}
}

func TestBatchesAreCut(t *testing.T) {
	// The longest entries there are: 500 of them are more than a server takes.
	u := upload(1200)
	for i, e := range u.Entries[:600] {
		e.Note = strings.Repeat("\U0001F9ED", 500)
		e.Key = fmt.Sprintf("%040d", i)
		e.Fact = &pb.Entry_Tape{Tape: &pb.Tape{WaistCm: new(80.0), AbdomenCm: new(80.0), HipCm: new(80.0), NeckCm: new(80.0), ChestCm: new(80.0), ThighCm: new(80.0), UpperArmCm: new(80.0)}}
	}
	covered := 0
	for _, b := range u.batches() {
		if b.first != covered || b.end <= b.first || b.end-b.first > maxBatchEntries {
			t.Fatalf("batch %+v after %d", b, covered)
		}
		covered = b.end
	}
	if covered != 1200 {
		t.Errorf("covered %d", covered)
	}
	f := &fake{} // which refuses messages over 1 MiB
	c := start(t, f)
	if _, err := c.Send(context.Background(), u); err != nil {
		t.Error(err)
	}
	checkApplied(t, f, u)
}

func TestIDDependsOnContentAndTrainee(t *testing.T) {
	u := upload(1)
	ids := map[string]bool{u.ID(): true}
	u.Trainee = "t-b"
	ids[u.ID()] = true
	u.SHA256 = strings.Repeat("cd", 32)
	ids[u.ID()] = true
	if len(ids) != 3 {
		t.Errorf("ids %v", ids)
	}
	if got, again := u.ID(), (Upload{Trainee: u.Trainee, SHA256: u.SHA256}).ID(); got != again {
		t.Errorf("%s, then %s", got, again)
	}
}

func TestBackoffGrowsWithinBounds(t *testing.T) {
	for failed := 1; failed < 100; failed++ {
		most := min(firstWait<<min(failed-1, 16), longestWait)
		for range 20 {
			if d := backoff(failed); d < most/2 || d > most {
				t.Fatalf("backoff(%d) = %v, not in %v..%v", failed, d, most/2, most)
			}
		}
	}
}
