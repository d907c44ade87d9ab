package logbook_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// mustAck sends a batch and checks its acknowledgement.
func (s *stream) mustAck(m *pb.BackfillEntriesRequest, next, committed int32) *pb.BackfillEntriesResponse {
	s.t.Helper()
	a := s.send(m)
	if a == nil {
		s.t.Fatalf("the stream ended: %v", s.ended())
	}
	if a.GetNextSeq() != next || a.GetCommittedCount() != committed {
		s.t.Errorf("acknowledged %v, want next %d and %d committed", a, next, committed)
	}
	return a
}

// mustEnd checks that a stream ends with a code.
func mustEnd(t *testing.T, err error, want codes.Code) {
	t.Helper()
	if s, _ := fault.Status(err); s.Code() != want {
		t.Errorf("ended with %v, want %v", err, want)
	}
}

func TestBackfill_AppliesEachBatchAndTellsTheRevision(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	if a := s.mustAck(opening(), 0, 0); a.GetRevision() != convert.Revision(b.head()) {
		t.Errorf("opened at %s, want %s", a.GetRevision(), convert.Revision(b.head()))
	}
	for seq, want := range []int32{2, 3} {
		entries := []*pb.Entry{photos(2*seq+1, "a")}
		if seq == 0 {
			entries = append(entries, photos(2, "b"))
		}
		if a := s.mustAck(batch(int32(seq), entries...), int32(seq)+1, want); a.GetRevision() != convert.Revision(b.head()) {
			t.Errorf("batch %d made %s, want %s", seq, a.GetRevision(), convert.Revision(b.head()))
		}
	}
	if err := s.finish(); err != nil {
		t.Errorf("ended with %v", err)
	}
	if got, want := b.log(), "2026-02-01-photo-set-1 a, 2026-02-02-photo-set-1 b, 2026-02-03-photo-set-1 a"; got != want {
		t.Errorf("stored %s, want %s", got, want)
	}
	if h := b.head(); h.Revision != 3 {
		t.Errorf("two batches made the revision %d, want 3", h.Revision)
	}
}

// TestBackfill_ReplayIsAcknowledgedAndNotApplied: a batch that was applied is
// never applied again, so an edit made since survives the replay.
func TestBackfill_ReplayIsAcknowledgedAndNotApplied(t *testing.T) {
	b := newBook(t)
	first := b.backfill()
	first.mustAck(opening(), 0, 0)
	first.mustAck(batch(0, photos(1, "uploaded"), photos(2, "uploaded")), 1, 2)
	b.edit(photos(1, "edited"))
	edited := b.head()

	first.mustAck(batch(0, photos(1, "uploaded"), photos(2, "uploaded")), 1, 2) // in the same stream
	first.mustAck(batch(0, photos(9, "another content")), 1, 2)
	first.cancel() // the connection breaks
	mustEnd(t, first.ended(), codes.Canceled)

	second := b.backfill()
	if a := second.mustAck(opening(), 1, 2); a.GetRevision() != convert.Revision(edited) {
		t.Errorf("opened at %s, want %s", a.GetRevision(), convert.Revision(edited))
	}
	second.mustAck(batch(0, photos(1, "uploaded"), photos(2, "uploaded")), 1, 2) // in another one
	if h := b.head(); h != edited {
		t.Errorf("replays moved the head from %v to %v", edited, h)
	}
	second.mustAck(batch(1, photos(3, "uploaded")), 2, 3)
	second.mustAck(batch(0, photos(1, "uploaded")), 2, 3)
	if err := second.finish(); err != nil {
		t.Errorf("ended with %v", err)
	}
	if got, want := b.log(), "2026-02-01-photo-set-1 edited, 2026-02-02-photo-set-1 uploaded, 2026-02-03-photo-set-1 uploaded"; got != want {
		t.Errorf("stored %s, want %s", got, want)
	}
}

func TestBackfill_GapIsAborted(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.mustAck(batch(0, photos(1, "a")), 1, 1)
	if a := s.send(batch(2, photos(3, "c"))); a != nil {
		t.Errorf("a batch out of order is acknowledged: %v", a)
	}
	err := s.ended()
	mustEnd(t, err, codes.Aborted)
	if !strings.Contains(err.Error(), "batch 1 is expected next") {
		t.Errorf("%v does not say where to go on", err)
	}
	if got := b.log(); got != "2026-02-01-photo-set-1 a" {
		t.Errorf("stored %s", got)
	}
}

func TestBackfill_AnotherContentIsRefused(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.mustAck(batch(0, photos(1, "a")), 1, 1)
	if err := s.finish(); err != nil {
		t.Fatal(err)
	}
	other := opening()
	other.GetOpening().ContentSha256 = strings.Repeat("cd", 32)
	again := b.backfill()
	if a := again.send(other); a != nil {
		t.Errorf("another content is opened: %v", a)
	}
	mustEnd(t, again.ended(), codes.FailedPrecondition)

	// The first batch of another content may be the first that is applied: two
	// streams that opened before either had written.
	fresh, late := opening(), opening()
	fresh.GetOpening().UploadId, late.GetOpening().UploadId = "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10", "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	late.GetOpening().ContentSha256 = strings.Repeat("ef", 32)
	one, two := b.backfill(), b.backfill()
	one.mustAck(fresh, 0, 0)
	two.mustAck(late, 0, 0)
	one.mustAck(batch(0, photos(2, "b")), 1, 1)
	if a := two.send(batch(0, photos(3, "c"))); a != nil {
		t.Errorf("another content is applied: %v", a)
	}
	mustEnd(t, two.ended(), codes.FailedPrecondition)
	if got, want := b.log(), "2026-02-01-photo-set-1 a, 2026-02-02-photo-set-1 b"; got != want {
		t.Errorf("stored %s, want %s", got, want)
	}
}

// TestBackfill_UploadsAreIndependent, also under another trainee or tenant.
func TestBackfill_UploadsAreIndependent(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.mustAck(batch(0, photos(1, "a")), 1, 1)
	other := opening()
	other.GetOpening().UploadId = "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	again := b.backfill()
	again.mustAck(other, 0, 0)
	again.mustAck(batch(0, photos(1, "b")), 1, 1)
	if got := b.log(); got != "2026-02-01-photo-set-1 b" {
		t.Errorf("stored %s", got)
	}
}

func TestBackfill_RefusesEntriesOneByOne(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	future := photos(1, "x")
	future.Date = &date.Date{Year: 2026, Month: 3, Day: 3}
	tooLight := &pb.Entry{Date: &date.Date{Year: 2026, Month: 2, Day: 3}, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 3, Unit: 1}}}}
	noUnit := &pb.Entry{Date: &date.Date{Year: 2026, Month: 2, Day: 3}, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 80}}}}
	a := s.mustAck(batch(0, future, photos(1, "first"), &pb.Entry{}, tooLight, noUnit, photos(1, "later"), photos(2, "b")), 1, 2)
	var got []string
	for _, r := range a.GetRefusedEntries() {
		got = append(got, string(rune('0'+r.GetIndex()))+" "+r.GetField())
		if r.GetProblem() == "" || strings.Contains(r.GetProblem(), "3 kg,") {
			t.Errorf("refused %v", r)
		}
	}
	if want := []string{"0 date", "2 Entry", "3 weigh_in.weight.value", "4 weigh_in.weight.unit"}; !slices.Equal(got, want) {
		t.Errorf("refused %q, want %q", got, want)
	}
	if got, want := b.log(), "2026-02-01-photo-set-1 later, 2026-02-02-photo-set-1 b"; got != want {
		t.Errorf("stored %s, want %s: of two with one key the later one holds", got, want)
	}
}

// TestBackfill_BatchOfRefusedEntriesAdvances: or the upload would never end.
func TestBackfill_BatchOfRefusedEntriesAdvances(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	if a := s.mustAck(batch(0, &pb.Entry{}, &pb.Entry{}), 1, 0); len(a.GetRefusedEntries()) != 2 {
		t.Errorf("refused %v", a.GetRefusedEntries())
	}
	s.mustAck(batch(0, &pb.Entry{}), 1, 0)
	s.mustAck(batch(1, photos(1, "a")), 2, 1)
	if got := b.log(); got != "2026-02-01-photo-set-1 a" {
		t.Errorf("stored %s", got)
	}
}

func TestBackfill_OrderOfMessages(t *testing.T) {
	for name, in := range map[string][]*pb.BackfillEntriesRequest{
		"batch first":     {batch(0, photos(1, "a"))},
		"nothing in it":   {{}},
		"opened twice":    {opening(), opening()},
		"nothing follows": {opening(), {}},
		"no message":      {},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBook(t)
			s := b.backfill()
			for _, m := range in {
				_ = s.send(m)
			}
			if len(in) == 0 {
				close(s.in)
			}
			mustEnd(t, s.ended(), codes.InvalidArgument)
			if got := b.log(); got != "" {
				t.Errorf("stored %s", got)
			}
		})
	}
}

func TestBackfill_NoSuchTrainee(t *testing.T) {
	b := newBook(t)
	m := opening()
	m.GetOpening().Parent = "trainees/nobody"
	s := b.backfill()
	if a := s.send(m); a != nil {
		t.Errorf("opened %v", a)
	}
	mustEnd(t, s.ended(), codes.NotFound)

	erased := b.backfill()
	erased.mustAck(opening(), 0, 0)
	if _, err := b.store.Erase(t.Context(), scope, store.AuditRecord{ID: "1"}); err != nil {
		t.Fatal(err)
	}
	if a := erased.send(batch(0, photos(1, "a"))); a != nil {
		t.Errorf("an erased trainee gets %v", a)
	}
	mustEnd(t, erased.ended(), codes.NotFound)
}

// TestBackfill_BrokenConnectionEndsTheHandler: a caller that goes away must not
// leave a handler behind that waits for it.
func TestBackfill_BrokenConnectionEndsTheHandler(t *testing.T) {
	b := newBook(t)
	for range 30 { // the reader and the handler hear of it in either order
		s := b.backfill()
		s.mustAck(opening(), 0, 0)
		s.cancel()
		mustEnd(t, s.ended(), codes.Canceled)
	}
}

func TestBackfill_DrainingEndsAnIdleStream(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	close(b.draining)
	mustEnd(t, s.ended(), codes.Unavailable)
}

// hooked is a store whose updates call a hook first.
type hooked struct {
	store.Store
	beforeUpdate func()
}

func (h hooked) Update(ctx context.Context, s store.Scope, once store.Once, w store.Write) ([]byte, error) {
	h.beforeUpdate()
	return h.Store.Update(ctx, s, once, w)
}

// TestBackfill_DrainingEndsAfterThePresentBatch, which is applied and
// acknowledged, so that the caller can go on elsewhere.
func TestBackfill_DrainingEndsAfterThePresentBatch(t *testing.T) {
	b := newBook(t)
	b.server.Store = hooked{b.store, sync.OnceFunc(func() { close(b.draining) })}
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.mustAck(batch(0, photos(1, "a")), 1, 1)
	mustEnd(t, s.ended(), codes.Unavailable)
	if got := b.log(); got != "2026-02-01-photo-set-1 a" {
		t.Errorf("stored %s", got)
	}
}

// TestBackfill_FailedBatchIsNotAcknowledged and leaves nothing, not even its place.
func TestBackfill_FailedBatchIsNotAcknowledged(t *testing.T) {
	b := newBook(t)
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.mustAck(batch(0, photos(1, "a")), 1, 1)
	before := b.head()
	b.server.BatchTimeout = 0 // no batch can be done in time
	if a := s.send(batch(1, photos(2, "b"))); a != nil {
		t.Errorf("acknowledged %v", a)
	}
	if err := s.ended(); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("ended with %v", err)
	}
	if b.head() != before || b.log() != "2026-02-01-photo-set-1 a" {
		t.Errorf("stored %s", b.log())
	}
}

// TestBackfill_TwoStreamsOfOneUpload: each batch is applied once, whoever comes
// first, and both streams hear the same.
func TestBackfill_TwoStreamsOfOneUpload(t *testing.T) {
	const batches = 24
	b := newBook(t)
	var wg sync.WaitGroup
	for range 2 {
		s := b.backfill()
		wg.Go(func() {
			if a := s.send(opening()); a == nil {
				t.Errorf("not opened: %v", s.ended())
				return
			}
			for seq := range int32(batches) {
				a := s.send(batch(seq, photos(int(seq)+1, "a")))
				if a == nil {
					t.Errorf("batch %d: %v", seq, s.ended())
					return
				}
				if a.GetNextSeq() < seq+1 || a.GetCommittedCount() != a.GetNextSeq() {
					t.Errorf("batch %d: %v", seq, a)
				}
			}
			if err := s.finish(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if h := b.head(); h.Revision != 1+batches {
		t.Errorf("%d batches made the revision %d", batches, h.Revision)
	}
	if n := strings.Count(b.log(), "photo-set"); n != batches {
		t.Errorf("%d entries, want %d", n, batches)
	}
}

// TestBackfill_WaitingBatchesAreWrittenTogether: what has come while a batch was
// written makes one revision, and each batch is acknowledged as if it were alone.
func TestBackfill_WaitingBatchesAreWrittenTogether(t *testing.T) {
	b := newBook(t)
	entered, leave := make(chan struct{}), make(chan struct{})
	hold := sync.OnceFunc(func() { close(entered); <-leave })
	b.server.Store = hooked{b.store, hold}
	s := b.backfill()
	s.mustAck(opening(), 0, 0)
	s.post(batch(0, photos(1, "a")))
	<-entered
	s.post(batch(1, photos(2, "b"), photos(3, "c"), photos(3, "d")))
	s.post(batch(2, photos(3, "e"), &pb.Entry{}))
	s.post(batch(2, photos(4, "again"))) // of another content: it was applied
	s.post(batch(5, photos(5, "gap")))
	close(leave)
	for i, want := range []struct{ next, committed, revision int32 }{{1, 1, 2}, {2, 3, 3}, {3, 4, 3}, {3, 4, 3}} {
		a := <-s.out
		if a.GetNextSeq() != want.next || a.GetCommittedCount() != want.committed || !strings.HasSuffix(a.GetRevision(), fmt.Sprint(want.revision)) {
			t.Errorf("batch %d: acknowledged %v, want %v", i, a, want)
		}
		if refused := a.GetRefusedEntries(); (len(refused) == 1) != (i == 2) || i == 2 && refused[0].GetIndex() != 1 {
			t.Errorf("batch %d: refused %v", i, refused)
		}
	}
	mustEnd(t, s.ended(), codes.Aborted)
	if got, want := b.log(), "2026-02-01-photo-set-1 a, 2026-02-02-photo-set-1 b, 2026-02-03-photo-set-1 e"; got != want {
		t.Errorf("stored %s, want %s", got, want)
	}
}
