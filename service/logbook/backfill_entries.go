package logbook

import (
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/grpc"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/validate"
)

type backfillStream = grpc.BidiStreamingServer[pb.BackfillEntriesRequest, pb.BackfillEntriesResponse]

// BackfillEntries applies the batches of an upload, each once.
func (s *Server) BackfillEntries(stream backfillStream) error {
	first, err := stream.Recv()
	if errors.Is(err, io.EOF) {
		return fault.InvalidField("opening", "the stream ended before its first message")
	}
	if err != nil {
		return err
	}
	if first.GetOpening() == nil {
		return fault.InvalidField("opening", "must be the first message")
	}
	up := upload{server: s, opening: first.GetOpening()}
	up.scope = call.Scope(stream.Context(), convert.TraineeFrom(up.opening.GetParent()))
	opened, err := up.open(stream.Context())
	if err != nil {
		return err
	}
	if err := stream.Send(opened); err != nil {
		return err
	}
	for messages := receive(stream); ; {
		select {
		case <-s.Draining:
			return fmt.Errorf("stopping: %w", store.ErrUnavailable)
		case <-stream.Context().Done(): // the reader may end without a word
			return stream.Context().Err()
		case m := <-messages:
			if errors.Is(m.err, io.EOF) {
				return nil
			}
			if m.err != nil {
				return m.err
			}
			if m.req.GetBatch() == nil {
				return fault.InvalidField("batch", "only the first message opens the stream")
			}
			ack, err := up.apply(stream.Context(), m.req.GetBatch())
			if err != nil {
				return err
			}
			if err := stream.Send(ack); err != nil {
				return err
			}
		}
	}
}

type received struct {
	req *pb.BackfillEntriesRequest
	err error
}

// receive reads ahead by one message, so that a stream which waits for its
// caller still hears that the server is stopping. It ends with the stream.
func receive(stream backfillStream) <-chan received {
	out := make(chan received)
	go func() {
		for {
			req, err := stream.Recv()
			select {
			case out <- received{req, err}:
			case <-stream.Context().Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return out
}

// upload is one stream's view of an upload.
type upload struct {
	server  *Server
	opening *pb.BackfillOpening
	scope   store.Scope
}

// open tells where to continue.
func (u upload) open(ctx context.Context) (*pb.BackfillEntriesResponse, error) {
	var out *pb.BackfillEntriesResponse
	err := u.server.Store.View(ctx, u.scope, func(v store.View) error {
		state, err := u.state(v)
		out = progress(state, v.Head())
		return err
	})
	return out, err
}

// state reads where the upload stands, and refuses another content under its id.
func (u upload) state(v store.View) (store.Upload, error) {
	state, err := v.Upload(u.opening.GetUploadId())
	if errors.Is(err, store.ErrNotFound) {
		return store.Upload{ID: u.opening.GetUploadId(), SHA256: u.opening.GetContentSha256()}, nil
	}
	if err == nil && state.SHA256 != u.opening.GetContentSha256() {
		err = &fault.Refused{Reason: "UPLOAD_CONTENT_DIFFERS", Sentence: "upload_id was used before for another content"}
	}
	return state, err
}

// errApplied ends a transaction whose batch turns out to be applied already.
var errApplied = errors.New("batch was applied before")

// apply writes one batch and the fence that keeps it from being applied again,
// in one transaction.
func (u upload) apply(ctx context.Context, batch *pb.BackfillBatch) (*pb.BackfillEntriesResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, u.server.BatchTimeout)
	defer cancel()
	out, err := call.Update(ctx, u.server.Store, u.scope, store.Once{}, &pb.BackfillEntriesResponse{},
		func(tx store.Tx) (func(store.Head) *pb.BackfillEntriesResponse, error) {
			state, err := u.state(tx)
			if err != nil {
				return nil, err
			}
			switch seq := int64(batch.GetSeq()); {
			case seq < state.NextSeq:
				return nil, errApplied
			case seq > state.NextSeq:
				return nil, &fault.Conflict{Reason: "BATCH_OUT_OF_ORDER", Sentence: fmt.Sprintf("batch %d is expected next; open the stream again and continue there", state.NextSeq)}
			}
			last, err := u.server.lastDay(tx.Trainee())
			if err != nil {
				return nil, err
			}
			entries, refused, err := acceptable(batch.GetEntries(), last)
			if err != nil {
				return nil, err
			}
			if err := tx.PutEntries(entries); err != nil {
				return nil, err
			}
			state.NextSeq++
			state.Committed += int64(len(entries))
			return func(h store.Head) *pb.BackfillEntriesResponse {
				ack := progress(state, h)
				ack.RefusedEntries = refused
				return ack
			}, tx.PutUpload(state)
		})
	if errors.Is(err, errApplied) {
		return u.open(ctx)
	}
	return out, err
}

// acceptable reads the entries that are valid and says what is wrong with the
// rest. Of two with one natural key the later one holds, as it would if they
// had come in two batches.
func acceptable(in []*pb.Entry, last engine.Day) ([]engine.Entry, []*pb.RefusedEntry, error) {
	var (
		out     = make([]engine.Entry, 0, len(in))
		place   = make(map[engine.ID]int, len(in))
		refused []*pb.RefusedEntry
	)
	for i, e := range in {
		entry, err := acceptableEntry(e, last)
		var invalid *fault.Invalid
		if errors.As(err, &invalid) {
			f := invalid.Fields[0]
			refused = append(refused, &pb.RefusedEntry{Index: int32(i), Field: f.Path, Problem: f.Problem})
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		if at, ok := place[entry.ID()]; ok {
			out[at] = entry
			continue
		}
		place[entry.ID()] = len(out)
		out = append(out, entry)
	}
	return out, refused, nil
}

func acceptableEntry(e *pb.Entry, last engine.Day) (engine.Entry, error) {
	if err := validate.Message(e); err != nil {
		return engine.Entry{}, err
	}
	return convert.EntryFromProto(e, last)
}

func progress(u store.Upload, h store.Head) *pb.BackfillEntriesResponse {
	return &pb.BackfillEntriesResponse{NextSeq: int32(u.NextSeq), CommittedCount: int32(u.Committed), Revision: convert.Revision(h)}
}
