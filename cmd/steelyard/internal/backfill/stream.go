package backfill

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// sending is an upload under way, over as many streams as it takes.
type sending struct {
	client  Client
	upload  Upload
	batches []batch
	next    int // batches before it are acknowledged; -1 before the first answer
	result  Result
}

// stream opens the stream and sends what the server lacks. It returns nil when
// everything is acknowledged.
func (s *sending) stream(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	// The watch ends a stream that went silent; every answer winds it up again.
	watch := time.AfterFunc(s.client.BatchTimeout, func() {
		cancel(fmt.Errorf("%w: no answer within %v", errBroken, s.client.BatchTimeout))
	})
	defer watch.Stop()

	err := s.exchange(ctx, watch)
	if cause := context.Cause(ctx); err != nil && errors.Is(cause, errBroken) {
		return cause
	}
	return err
}

func (s *sending) exchange(ctx context.Context, watch *time.Timer) error {
	stream, err := s.client.Log.BackfillEntries(ctx)
	if err != nil {
		return err
	}
	answer := func() (*steelyardv1.BackfillEntriesResponse, error) {
		a, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%w: the server ended the stream early", errBroken)
		}
		if err == nil {
			watch.Reset(s.client.BatchTimeout)
		}
		return a, err
	}
	// After io.EOF from Send the reason waits behind the answers in Recv.
	if err := stream.Send(s.opening()); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	first, err := answer()
	if err != nil {
		return err
	}
	if err := s.begin(first); err != nil {
		return err
	}
	for sent := s.next; s.next < len(s.batches); {
		for sent < len(s.batches) && sent-s.next < maxUnacknowledged {
			err := stream.Send(s.message(sent))
			if errors.Is(err, io.EOF) {
				break // the answers that came before the break still count
			}
			if err != nil {
				return err
			}
			sent++
		}
		a, err := answer()
		if err != nil {
			return err
		}
		if err := s.acknowledge(a); err != nil {
			return err
		}
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	// Everything is committed: how the stream ends no longer matters, and
	// waiting for it lets the server end its side in peace.
	_, _ = stream.Recv()
	return nil
}

func (s *sending) opening() *steelyardv1.BackfillEntriesRequest {
	return &steelyardv1.BackfillEntriesRequest{Step: &steelyardv1.BackfillEntriesRequest_Opening{Opening: &steelyardv1.BackfillOpening{
		Parent:        "trainees/" + s.upload.Trainee,
		UploadId:      s.upload.ID(),
		ContentSha256: s.upload.SHA256,
	}}}
}

func (s *sending) message(seq int) *steelyardv1.BackfillEntriesRequest {
	b := s.batches[seq]
	return &steelyardv1.BackfillEntriesRequest{Step: &steelyardv1.BackfillEntriesRequest_Batch{Batch: &steelyardv1.BackfillBatch{
		Seq: int32(seq), Entries: s.upload.Entries[b.first:b.end],
	}}}
}

// begin takes the answer to the opening: where to continue. Batches that were
// committed but whose answer a break swallowed count as sent by this run.
func (s *sending) begin(a *steelyardv1.BackfillEntriesResponse) error {
	next := int(a.GetNextSeq())
	if next < 0 || next > len(s.batches) {
		return fmt.Errorf("the server wants batch %d of an upload of %d; it was begun by another version", next, len(s.batches))
	}
	if s.next < 0 {
		s.result.AlreadyThere = s.before(next)
	} else if next < s.next {
		return fmt.Errorf("the server wants batch %d again, which it had acknowledged; its data was set back, run this again to continue from there", next)
	} else {
		s.result.Sent += s.before(next) - s.before(s.next)
	}
	s.next = next
	s.tell(a)
	return nil
}

// acknowledge takes the answer to the oldest batch on its way.
func (s *sending) acknowledge(a *steelyardv1.BackfillEntriesResponse) error {
	// Beyond s.next+1 lies what an earlier stream of ours, broken here and not
	// yet there, has brought in the meantime.
	if n := int(a.GetNextSeq()); n <= s.next || n > len(s.batches) {
		return fmt.Errorf("%w: the server wants batch %d after batch %d", errBroken, n, s.next)
	}
	b := s.batches[s.next]
	for _, r := range a.GetRefusedEntries() {
		i := int(r.GetIndex())
		if i < 0 || i >= b.end-b.first {
			return fmt.Errorf("the server refused entry %d of a batch of %d", i, b.end-b.first)
		}
		s.result.Refused = append(s.result.Refused, Refusal{Index: b.first + i, Field: r.GetField(), Problem: r.GetProblem()})
	}
	s.result.Sent += b.end - b.first
	s.next++
	s.tell(a)
	return nil
}

// before returns how many entries the batches before seq hold.
func (s *sending) before(seq int) int {
	if seq == 0 {
		return 0
	}
	return s.batches[seq-1].end
}

func (s *sending) tell(a *steelyardv1.BackfillEntriesResponse) {
	s.result.Applied = int(a.GetCommittedCount())
	if s.client.Acknowledged != nil {
		s.client.Acknowledged(s.before(s.next))
	}
}
