package backfill

import (
	"context"
	"net"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
)

// fake keeps uploads as the contract says, and breaks streams when told to.
type fake struct {
	pb.UnimplementedLogbookServiceServer

	mu      sync.Mutex // streams of one upload may overlap: the old one still at work when the new one opens
	uploads map[string]*fakeUpload
	openers int
	// onBatch decides what becomes of a batch that is to be applied.
	onBatch func(nth int) fate
	seen    int // batches that reached onBatch
	refuse  func(*pb.Entry) bool
}

type fate int

const (
	apply       fate = iota
	loseIt           // break before the commit
	loseAnswer       // break after the commit, before the answer
	endCleanly       // end with OK after the commit, before the answer
	fallSilent       // commit, then say nothing until the caller leaves
	answerStale      // commit nothing, and answer as if nothing had come
	answerAmiss      // commit, answer what makes no sense, and carry on
)

type fakeUpload struct {
	sha       string
	next      int32
	committed int32
	applied   []*pb.Entry
}

func (f *fake) BackfillEntries(stream grpc.BidiStreamingServer[pb.BackfillEntriesRequest, pb.BackfillEntriesResponse]) error {
	m, err := stream.Recv()
	if err != nil {
		return err
	}
	o := m.GetOpening()
	if o == nil {
		return status.Error(codes.InvalidArgument, "the first message must open the upload")
	}
	f.mu.Lock()
	f.openers++
	u := f.uploads[o.GetUploadId()]
	if u == nil {
		u = &fakeUpload{sha: o.GetContentSha256()}
		f.uploads[o.GetUploadId()] = u
	}
	f.mu.Unlock()
	if u.sha != o.GetContentSha256() {
		return status.Error(codes.FailedPrecondition, "another content")
	}
	f.mu.Lock()
	a := &pb.BackfillEntriesResponse{NextSeq: u.next, CommittedCount: u.committed}
	f.mu.Unlock()
	if err := stream.Send(a); err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			return nil
		}
		a, what, err := f.take(u, m)
		switch {
		case err != nil:
			return err
		case what == loseAnswer:
			return status.Error(codes.Unavailable, "down")
		case what == endCleanly:
			return nil
		case what == fallSilent:
			<-stream.Context().Done()
			return nil
		case what == answerAmiss:
			a.NextSeq = 0
		}
		if err := stream.Send(a); err != nil {
			return err
		}
	}
}

// take applies a batch.
func (f *fake) take(u *fakeUpload, m *pb.BackfillEntriesRequest) (*pb.BackfillEntriesResponse, fate, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	b := m.GetBatch()
	if b == nil || b.GetSeq() > u.next {
		return nil, 0, status.Errorf(codes.InvalidArgument, "batch %d, not %d", b.GetSeq(), u.next)
	}
	if b.GetSeq() < u.next {
		return &pb.BackfillEntriesResponse{NextSeq: u.next, CommittedCount: u.committed}, apply, nil
	}
	if len(b.GetEntries()) == 0 || len(b.GetEntries()) > 1000 || proto.Size(m) > 1<<20 {
		return nil, 0, status.Errorf(codes.InvalidArgument, "a batch of %d entries, %d bytes", len(b.GetEntries()), proto.Size(m))
	}
	what := f.onBatch(f.seen)
	f.seen++
	if what == loseIt {
		return nil, what, status.Error(codes.Unavailable, "down")
	}
	if what == answerStale {
		return &pb.BackfillEntriesResponse{NextSeq: u.next, CommittedCount: u.committed}, what, nil
	}
	a := &pb.BackfillEntriesResponse{}
	for i, e := range b.GetEntries() {
		if f.refuse != nil && f.refuse(e) {
			a.RefusedEntries = append(a.RefusedEntries, &pb.RefusedEntry{Index: int32(i), Field: "date", Problem: "is refused"})
			continue
		}
		u.applied = append(u.applied, e)
		u.committed++
	}
	u.next++
	a.NextSeq, a.CommittedCount = u.next, u.committed
	return a, what, nil
}

func start(t *testing.T, f *fake) Client {
	t.Helper()
	f.uploads = map[string]*fakeUpload{}
	if f.onBatch == nil {
		f.onBatch = func(int) fate { return apply }
	}
	l := bufconn.Listen(1 << 20)
	s := grpc.NewServer()
	pb.RegisterLogbookServiceServer(s, f)
	go func() { _ = s.Serve(l) }()
	conn, err := grpc.NewClient("passthrough:///fake",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = conn.Close()
		s.Stop()
	})
	return Client{Log: pb.NewLogbookServiceClient(conn), Sleep: noSleep}
}
