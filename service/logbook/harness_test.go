package logbook_test

import (
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/logbook"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/sqlite"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	now    = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	scope  = store.Scope{Tenant: "gym-1", Trainee: "t1"}
	sha    = strings.Repeat("ab", 32)
	upload = "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11"
)

// book is a logbook under test, with one trainee in its store.
type book struct {
	t        *testing.T
	store    store.Store
	server   *logbook.Server
	draining chan struct{}
}

func newBook(t *testing.T) *book {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	_, err = s.Create(t.Context(), scope, store.Once{}, store.Trainee{ID: "t1", TimeZone: "UTC"}, func(store.Tx) (store.Answer, error) {
		return func(store.Head) ([]byte, error) { return nil, nil }, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	b := &book{t: t, store: s, draining: make(chan struct{})}
	b.server = &logbook.Server{Store: s, Now: func() time.Time { return now }, BatchTimeout: time.Minute, Draining: b.draining}
	return b
}

// log is what is stored: entry names with their notes, in order.
func (b *book) log() string {
	b.t.Helper()
	out, err := b.server.ListEntries(b.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: 1000})
	if err != nil {
		b.t.Fatal(err)
	}
	var lines []string
	for _, e := range out.GetEntries() {
		lines = append(lines, strings.TrimPrefix(e.GetName(), "trainees/t1/entries/")+" "+e.GetNote())
	}
	return strings.Join(lines, ", ")
}

func (b *book) ctx() context.Context {
	return access.With(b.t.Context(), access.Principal{Tenant: "gym-1"})
}

func (b *book) head() store.Head {
	b.t.Helper()
	h, err := b.store.Head(b.t.Context(), scope)
	if err != nil {
		b.t.Fatal(err)
	}
	return h
}

// edit writes one entry outside any upload.
func (b *book) edit(e *pb.Entry) {
	b.t.Helper()
	if _, err := b.server.CreateEntry(b.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: e}); err != nil {
		b.t.Fatal(err)
	}
}

// photos is a valid entry of a day of February 2026, told apart by its note.
func photos(day int, note string) *pb.Entry {
	return &pb.Entry{Date: &date.Date{Year: 2026, Month: 2, Day: int32(day)}, Note: note, Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: "album"}}}
}

func opening() *pb.BackfillEntriesRequest {
	return &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{Parent: "trainees/t1", UploadId: upload, ContentSha256: sha}}}
}

func batch(seq int32, entries ...*pb.Entry) *pb.BackfillEntriesRequest {
	return &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Seq: seq, Entries: entries}}}
}

// stream is a backfill in progress, seen by its caller.
type stream struct {
	t      *testing.T
	in     chan *pb.BackfillEntriesRequest
	out    chan *pb.BackfillEntriesResponse
	end    chan error
	ctx    context.Context
	cancel context.CancelFunc
}

// backfill starts one. It ends with the test at the latest.
func (b *book) backfill() *stream {
	b.t.Helper()
	s := &stream{t: b.t, in: make(chan *pb.BackfillEntriesRequest), out: make(chan *pb.BackfillEntriesResponse), end: make(chan error, 1)}
	s.ctx, s.cancel = context.WithCancel(b.ctx())
	b.t.Cleanup(s.cancel)
	go func() {
		s.end <- b.server.BackfillEntries(&grpc.GenericServerStream[pb.BackfillEntriesRequest, pb.BackfillEntriesResponse]{ServerStream: serverSide{s: s}})
		s.cancel() // as grpc does when a handler returns
	}()
	return s
}

// send sends a message and returns the answer; nil when the stream ended
// instead.
func (s *stream) send(m *pb.BackfillEntriesRequest) *pb.BackfillEntriesResponse {
	s.t.Helper()
	s.post(m)
	select {
	case a := <-s.out:
		return a
	case <-s.ctx.Done():
		return nil
	}
}

// post sends a message, unless the stream has ended.
func (s *stream) post(m *pb.BackfillEntriesRequest) {
	select {
	case s.in <- m:
	case <-s.ctx.Done():
	}
}

// finish closes the sending side and returns how the stream ended.
func (s *stream) finish() error {
	close(s.in)
	return s.ended()
}

// ended returns how the stream ended.
func (s *stream) ended() error {
	s.t.Helper()
	select {
	case err := <-s.end:
		return err
	case <-time.After(10 * time.Second): // so that a handler that waits for ever fails
		s.t.Error("the stream does not end")
		return nil
	}
}

// serverSide is the stream as the server sees it.
type serverSide struct {
	grpc.ServerStream
	s *stream
}

func (s serverSide) RecvMsg(m any) error {
	select {
	case in, ok := <-s.s.in:
		if !ok {
			return io.EOF
		}
		proto.Merge(m.(proto.Message), in)
		return nil
	case <-s.s.ctx.Done():
		return s.s.ctx.Err()
	}
}

func (s serverSide) SendMsg(m any) error {
	select {
	case s.s.out <- proto.Clone(m.(proto.Message)).(*pb.BackfillEntriesResponse):
		return nil
	case <-s.s.ctx.Done():
		return s.s.ctx.Err()
	}
}

func (s serverSide) Context() context.Context { return s.s.ctx }
