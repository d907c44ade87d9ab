package logbook

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

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
			batches, end := gather(m, messages)
			for len(batches) > 0 {
				acks, err := up.apply(stream.Context(), batches)
				if err != nil {
					return err
				}
				for _, ack := range acks {
					if err := stream.Send(ack); err != nil {
						return err
					}
				}
				batches = batches[len(acks):]
			}
			if errors.Is(end, io.EOF) {
				return nil
			}
			if end != nil {
				return end
			}
		}
	}
}

// readAhead is how many messages may wait: those that have come while others were
// written are written together, as most of what a transaction costs is not of its size.
// A stream so holds at most twice as many messages and one, each of at most 1000 entries.
const readAhead = 8

// enough entries are written together when they are so many: others want to write too.
const enough = 4000

type received struct {
	req    *pb.BackfillEntriesRequest
	broken map[int]error // entries of the batch that break a rule of the contract
	err    error
}

// receive reads ahead, also so that a stream which waits for its caller still hears
// that the server is stopping. What has come is checked here, while other batches are
// written. It ends with the stream.
func receive(stream backfillStream) <-chan received {
	out := make(chan received, readAhead)
	go func() {
		for {
			req, err := stream.Recv()
			select {
			case out <- received{req, broken(req.GetBatch().GetEntries()), err}:
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

func broken(entries []*pb.Entry) map[int]error {
	var out map[int]error
	for i, e := range entries {
		if err := validate.Message(e); err != nil {
			if out == nil {
				out = map[int]error{}
			}
			out[i] = err
		}
	}
	return out
}

// gather returns the batches that have come, m's first, and what ended the stream
// after them, if it did.
func gather(m received, messages <-chan received) (batches []received, end error) {
	for entries := 0; ; {
		if m.err != nil {
			return batches, m.err
		}
		if m.req.GetBatch() == nil {
			return batches, fault.InvalidField("batch", "only the first message opens the stream")
		}
		batches = append(batches, m)
		if entries += len(m.req.GetBatch().GetEntries()); len(batches) == readAhead || entries >= enough {
			return batches, nil
		}
		select {
		case m = <-messages:
		default:
			return batches, nil
		}
	}
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

// errApplied ends a transaction whose first batch turns out to be applied already.
var errApplied = errors.New("batch was applied before")

// apply writes the first of the batches, and those after it that follow in order,
// with the fence that keeps them from being applied again, in one transaction. It
// returns an acknowledgement of each.
func (u upload) apply(ctx context.Context, batches []received) (acks []*pb.BackfillEntriesResponse, err error) {
	ctx, cancel := context.WithTimeout(ctx, u.server.BatchTimeout)
	defer cancel()
	_, err = u.server.Store.Update(ctx, u.scope, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		state, err := u.state(tx)
		if err != nil {
			return nil, err
		}
		switch seq := int64(batches[0].req.GetBatch().GetSeq()); {
		case seq < state.NextSeq:
			return nil, errApplied
		case seq > state.NextSeq:
			return nil, &fault.Conflict{Reason: "BATCH_OUT_OF_ORDER", Sentence: fmt.Sprintf("batch %d is expected next; open the stream again and continue there", state.NextSeq)}
		}
		last, err := u.server.lastDay(tx)
		if err != nil {
			return nil, err
		}
		in := newAccepted(last, batches)
		var done []progressed
		for _, b := range batches {
			if int64(b.req.GetBatch().GetSeq()) != state.NextSeq {
				break
			}
			count, refused, err := in.add(b)
			if err != nil {
				return nil, err
			}
			state.NextSeq++
			state.Committed += int64(count)
			done = append(done, progressed{state, refused})
		}
		if err := tx.PutEntries(in.entries); err != nil {
			return nil, err
		}
		return func(h store.Head) ([]byte, error) {
			acks = nil // it may run again
			for _, p := range done {
				ack := progress(p.state, h)
				ack.RefusedEntries = p.refused
				acks = append(acks, ack)
			}
			return nil, nil
		}, tx.PutUpload(state)
	})
	if errors.Is(err, errApplied) {
		ack, err := u.open(ctx)
		return []*pb.BackfillEntriesResponse{ack}, err
	}
	return acks, err
}

// progressed is where an upload stands after a batch.
type progressed struct {
	state   store.Upload
	refused []*pb.RefusedEntry
}

// accepted are the valid entries of batches. Of two with one natural key the later
// one holds, as it would if each were written by itself.
type accepted struct {
	last    engine.Day
	entries []engine.Entry
	batch   []int // which batch each of them is of
	batches int
	place   map[engine.ID]int // in entries; nil while they come in order, as those of a log do
}

func newAccepted(last engine.Day, batches []received) *accepted {
	most := 0
	for _, b := range batches {
		most += len(b.req.GetBatch().GetEntries())
	}
	return &accepted{last: last, entries: make([]engine.Entry, 0, most), batch: make([]int, 0, most)}
}

// add reads the entries of a batch that are valid, returns of how many natural keys
// they are, and says what is wrong with the rest.
func (a *accepted) add(b received) (count int, refused []*pb.RefusedEntry, err error) {
	a.batches++
	for i, e := range b.req.GetBatch().GetEntries() {
		entry, err := engine.Entry{}, b.broken[i]
		if err == nil {
			entry, err = convert.EntryFromProto(e, a.last)
		}
		if err != nil {
			var invalid *fault.Invalid
			if !errors.As(err, &invalid) {
				return 0, nil, err
			}
			f := invalid.Fields[0]
			refused = append(refused, &pb.RefusedEntry{Index: int32(i), Field: f.Path, Problem: f.Problem})
			continue
		}
		at, again := a.find(entry.ID())
		if !again {
			a.entries, a.batch = append(a.entries, entry), append(a.batch, 0)
		}
		a.entries[at] = entry
		if a.batch[at] != a.batches {
			count++
		}
		a.batch[at] = a.batches
	}
	return count, refused, nil
}

// find returns the place of a natural key, and whether it is there already.
func (a *accepted) find(id engine.ID) (at int, again bool) {
	if a.place == nil {
		if len(a.entries) == 0 || before(a.entries[len(a.entries)-1].ID(), id) {
			return len(a.entries), false
		}
		a.place = make(map[engine.ID]int, cap(a.entries))
		for i, e := range a.entries {
			a.place[e.ID()] = i
		}
	}
	if at, again = a.place[id]; !again {
		at = len(a.entries)
		a.place[id] = at
	}
	return at, again
}

func before(a, b engine.ID) bool {
	return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Kind, b.Kind), strings.Compare(a.Key, b.Key)) < 0
}

func progress(u store.Upload, h store.Head) *pb.BackfillEntriesResponse {
	return &pb.BackfillEntriesResponse{NextSeq: int32(u.NextSeq), CommittedCount: int32(u.Committed), Revision: convert.Revision(h)}
}
