package call_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/store"
)

var head = store.Head{Incarnation: strings.Repeat("ab", 16), Revision: 7}

// heard is a gRPC call that remembers its answer's header.
type heard struct{ header metadata.MD }

func (h *heard) Method() string                  { return "" }
func (h *heard) SetHeader(md metadata.MD) error  { h.header = metadata.Join(h.header, md); return nil }
func (h *heard) SendHeader(md metadata.MD) error { return h.SetHeader(md) }
func (h *heard) SetTrailer(metadata.MD) error    { return nil }

func hearing(ctx context.Context) (context.Context, *heard) {
	h := &heard{}
	return grpc.NewContextWithServerTransportStream(ctx, h), h
}

// writes is a store that answers a replay with what was answered first.
type writes struct {
	scope    store.Scope
	recorded map[store.Once][]byte
	err      error
	ran      int
}

func (w *writes) Create(ctx context.Context, s store.Scope, once store.Once, _ store.Trainee, body store.Write) ([]byte, error) {
	return w.Update(ctx, s, once, body)
}

func (w *writes) Update(_ context.Context, s store.Scope, once store.Once, body store.Write) ([]byte, error) {
	if b, ok := w.recorded[once]; ok {
		return b, nil
	}
	answer, err := body(nil)
	if err != nil {
		return nil, err
	}
	return w.once(s, once, answer)
}

func (w *writes) Erase(context.Context, store.Scope, store.AuditRecord) (store.Erased, error) {
	return store.Erased{}, w.err
}

func (w *writes) once(s store.Scope, once store.Once, answer store.Answer) ([]byte, error) {
	if w.err != nil {
		return nil, w.err
	}
	w.scope = s
	w.ran++
	b, err := answer(store.Head{Incarnation: head.Incarnation, Revision: head.Revision + int64(w.ran)})
	if w.recorded == nil {
		w.recorded = map[store.Once][]byte{}
	}
	w.recorded[once] = b
	return b, err
}

func TestScope_TenantComesFromTheCredential(t *testing.T) {
	ctx := access.With(t.Context(), access.Principal{Tenant: "gym-1"})
	if got := call.Scope(ctx, "t1"); got != (store.Scope{Tenant: "gym-1", Trainee: "t1"}) {
		t.Errorf("%+v", got)
	}
	if got := call.Scope(t.Context(), "t1"); got.Tenant != "" {
		t.Errorf("a stranger has the tenant %q", got.Tenant)
	}
}

func TestUpdate_AnswersAndTellsTheRevision_AlsoOnAReplay(t *testing.T) {
	w := &writes{}
	once := store.Once{Method: "m", RequestID: "r", BodyHash: "b"}
	note := "a note with a NUL \x00 in it"
	update := func(note string) (*pb.Entry, *heard, error) {
		ctx, h := hearing(t.Context())
		out, err := call.Update(ctx, w, store.Scope{Tenant: "a", Trainee: "t1"}, once, &pb.Entry{},
			func(store.Tx) (func(store.Head) *pb.Entry, error) {
				return func(store.Head) *pb.Entry { return &pb.Entry{Note: note} }, nil
			})
		return out, h, err
	}
	first, told, err := update(note)
	if err != nil {
		t.Fatal(err)
	}
	again, toldAgain, err := update("another note")
	if err != nil {
		t.Fatal(err)
	}
	if first.GetNote() != note || again.GetNote() != note || w.ran != 1 {
		t.Errorf("first %q, again %q, ran %d times", first.GetNote(), again.GetNote(), w.ran)
	}
	want := head.Incarnation + "-8"
	if got := told.header.Get("steelyard-revision"); len(got) != 1 || got[0] != want {
		t.Errorf("told %q, want %q", got, want)
	}
	if got := toldAgain.header.Get("steelyard-revision"); len(got) != 1 || got[0] != want {
		t.Errorf("a replay told %q, want the first one's %q", got, want)
	}
}

func TestUpdate_ErrorTellsNothing(t *testing.T) {
	ctx, h := hearing(t.Context())
	body := errors.New("body")
	out, err := call.Update(ctx, &writes{}, store.Scope{}, store.Once{}, &pb.Entry{}, func(store.Tx) (func(store.Head) *pb.Entry, error) { return nil, body })
	if out != nil || !errors.Is(err, body) || h.header.Len() != 0 {
		t.Errorf("%v, %v, header %v", out, err, h.header)
	}
	out, err = call.Update(ctx, &writes{err: store.ErrUnavailable}, store.Scope{}, store.Once{}, &pb.Entry{},
		func(store.Tx) (func(store.Head) *pb.Entry, error) {
			return func(store.Head) *pb.Entry { return &pb.Entry{} }, nil
		})
	if out != nil || !errors.Is(err, store.ErrUnavailable) || h.header.Len() != 0 {
		t.Errorf("%v, %v, header %v", out, err, h.header)
	}
}

func TestCreate_AnswersWithItsHead(t *testing.T) {
	ctx, h := hearing(t.Context())
	w := &writes{}
	out, err := call.Create(ctx, w, store.Scope{Tenant: "a", Trainee: "t1"}, store.Once{}, store.Trainee{}, &pb.Trainee{}, func(store.Tx) (func(store.Head) *pb.Trainee, error) {
		return func(at store.Head) *pb.Trainee {
			return &pb.Trainee{Name: "trainees/t1", HeightCm: proto.Float64(float64(at.Revision))}
		}, nil
	})
	if err != nil || out.GetName() != "trainees/t1" || out.GetHeightCm() != 8 || w.scope.Tenant != "a" || len(h.header.Get("steelyard-revision")) != 1 {
		t.Errorf("%v, %v, scope %+v, header %v", out, err, w.scope, h.header)
	}
}

// TestUpdate_RefusesARecordThatIsNone: a record that does not read back is an
// error and never an empty answer.
func TestUpdate_RefusesARecordThatIsNone(t *testing.T) {
	for name, record := range map[string][]byte{"empty": nil, "no revision": []byte("abc"), "not a message": []byte("rev-1\x00\xff\xff\xff")} {
		w := &writes{recorded: map[store.Once][]byte{{}: record}}
		ctx, h := hearing(t.Context())
		out, err := call.Update(ctx, w, store.Scope{}, store.Once{}, &pb.Entry{}, nil)
		if out != nil || err == nil || h.header.Len() != 0 {
			t.Errorf("%s: %v, %v, header %v", name, out, err, h.header)
		}
	}
}

func TestEncode_ReadsBack(t *testing.T) {
	b, err := call.Encode(func(h store.Head) *pb.Entry { return &pb.Entry{Key: "k", Note: "\x00\x00"} })(head)
	if err != nil {
		t.Fatal(err)
	}
	out, err := call.Update(t.Context(), &writes{recorded: map[store.Once][]byte{{}: b}}, store.Scope{}, store.Once{}, &pb.Entry{}, nil)
	if err != nil || !proto.Equal(out, &pb.Entry{Key: "k", Note: "\x00\x00"}) {
		t.Errorf("%v, %v", out, err)
	}
}

func TestOnce(t *testing.T) {
	const method, id, otherID = "/s/M", "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	req := func(id, note string, extra ...func(*pb.CreateEntryRequest)) *pb.CreateEntryRequest {
		r := &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{Note: note}, RequestId: id}
		for _, f := range extra {
			f(r)
		}
		return r
	}
	first := call.Once(method, req(id, "a"))
	if first.Method != method || first.RequestID != id || len(first.BodyHash) != 64 {
		t.Fatalf("%+v", first)
	}
	if again := call.Once(method, req(id, "a")); again != first {
		t.Errorf("the same request: %+v", again)
	}
	if other := call.Once(method, req(otherID, "a")); other.BodyHash != first.BodyHash {
		t.Error("the request id is part of the hash")
	}
	for name, r := range map[string]*pb.CreateEntryRequest{
		"another value":  req(id, "b"),
		"another parent": req(id, "a", func(r *pb.CreateEntryRequest) { r.Parent = "trainees/t2" }),
		"a zero that is set": req(id, "a", func(r *pb.CreateEntryRequest) {
			r.Entry.Fact = &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{WasSlog: proto.Bool(false)}}
		}),
		"a zero that is not": req(id, "a", func(r *pb.CreateEntryRequest) { r.Entry.Fact = &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{}} }),
	} {
		if got := call.Once(method, r); got.BodyHash == first.BodyHash {
			t.Errorf("%s has the same hash", name)
		}
	}
	if none := call.Once(method, req("", "a")); none != (store.Once{Method: method}) {
		t.Errorf("without an id: %+v", none)
	}
	r := req(id, "a")
	if call.Once(method, r); r.GetRequestId() != id {
		t.Error("the request was changed")
	}
}

func TestHash_WithoutFieldsThatAreNotThere(t *testing.T) {
	m := &pb.Entry{Note: "a"}
	if call.Hash(m, "request_id") != call.Hash(m) || call.Hash(m) == call.Hash(&pb.Entry{}) {
		t.Error("leaving out an absent field changes the hash")
	}
}
