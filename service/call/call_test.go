package call_test

import (
	"bytes"
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

// TestUpdate_AnswersWithWhatItBuilt, which nobody decodes again; a replay's answer is
// decoded. Both leave as what was recorded, byte for byte.
func TestUpdate_AnswersWithWhatItBuilt(t *testing.T) {
	w, once := &writes{}, store.Once{Method: "m", RequestID: "r", BodyHash: "b"}
	var built *pb.Entry
	update := func() (answer, into *pb.Entry, wire []byte) {
		t.Helper()
		ctx, held := call.WithHeld(t.Context())
		into = &pb.Entry{}
		answer, err := call.Update(ctx, w, store.Scope{}, once, into, func(store.Tx) (func(store.Head) *pb.Entry, error) {
			return func(store.Head) *pb.Entry {
				built = &pb.Entry{Key: "k", Note: "\x00\x00"}
				return built
			}, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		e, isHeld := held.Of(answer).(*call.Encoded)
		if !isHeld {
			t.Fatal("the answer comes without its forms")
		}
		wire, err = e.Wire()
		if got, other := e.JSON(); err != nil || other != nil || string(got) != marshalled(t, answer) {
			t.Errorf("JSON %s, %v, %v", got, other, err)
		}
		return answer, into, wire
	}
	first, into, wire := update()
	if first != built || !proto.Equal(into, &pb.Entry{}) {
		t.Errorf("%v, and decoded %v", first, into)
	}
	_, recorded, _ := bytes.Cut(w.recorded[once], []byte{0})
	if want, err := proto.Marshal(built); err != nil || !bytes.Equal(recorded, want) || !bytes.Equal(wire, want) {
		t.Errorf("recorded %x, sent %x, want %x, %v", recorded, wire, want, err)
	}
	again, into, wire := update()
	if again != into || !proto.Equal(again, built) || !bytes.Equal(wire, recorded) || w.ran != 1 {
		t.Errorf("a replay: %v as %x, ran %d times", again, wire, w.ran)
	}
}

// overtaken is a store in which another one's write comes between two runs: the first
// is undone, and the second finds the answer on record.
type overtaken struct {
	writes
	record []byte
}

func (o *overtaken) Update(_ context.Context, _ store.Scope, _ store.Once, body store.Write) ([]byte, error) {
	answer, err := body(nil)
	if err == nil {
		_, err = answer(head)
	}
	return o.record, err
}

// TestUpdate_WhatWasUndoneIsNoAnswer: what is on record is.
func TestUpdate_WhatWasUndoneIsNoAnswer(t *testing.T) {
	entry := func(note string) call.Write[*pb.Entry] {
		return func(store.Tx) (func(store.Head) *pb.Entry, error) {
			return func(store.Head) *pb.Entry { return &pb.Entry{Note: note} }, nil
		}
	}
	other := &writes{}
	if _, err := call.Update(t.Context(), other, store.Scope{}, store.Once{}, &pb.Entry{}, entry("of the other")); err != nil {
		t.Fatal(err)
	}
	ctx, h := hearing(t.Context())
	ctx, held := call.WithHeld(ctx)
	out, err := call.Update(ctx, &overtaken{record: other.recorded[store.Once{}]}, store.Scope{}, store.Once{}, &pb.Entry{}, entry("undone"))
	if err != nil || out.GetNote() != "of the other" || h.header.Get("steelyard-revision")[0] != head.Incarnation+"-8" {
		t.Errorf("%v, %v, header %v", out, err, h.header)
	}
	e, isHeld := held.Of(out).(*call.Encoded)
	if !isHeld {
		t.Fatal("the answer comes without its forms")
	}
	wire, err := e.Wire()
	if sent := (&pb.Entry{}); err != nil || proto.Unmarshal(wire, sent) != nil || !proto.Equal(sent, out) {
		t.Errorf("%x is sent, %v", wire, err)
	}
}

func marshalled(t *testing.T, m proto.Message) string {
	t.Helper()
	b, err := call.JSON.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
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
