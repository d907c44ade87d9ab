// Package call holds what every handler does around its own work: whose data
// is meant, writing once, telling the revision, pages and field masks.
package call

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// RevisionHeader carries the revision that an answer was read at or made.
const RevisionHeader = "steelyard-revision"

// Scope returns whose data is meant: the tenant of the credential, the trainee
// of the request. It is the only place where a scope is made.
func Scope(ctx context.Context, trainee string) store.Scope {
	return store.Scope{Tenant: access.From(ctx).Tenant, Trainee: trainee}
}

// Write is the body of a write: it changes what it has to through tx and
// returns how the answer is built once the head is known. It may run twice.
type Write[M proto.Message] func(tx store.Tx) (answer func(store.Head) M, err error)

// Update runs a write once for its request id, answers with what it built or,
// on a replay, with what was answered the first time, and tells the revision. To
// an answer that it built nothing may write any more.
func Update[M proto.Message](ctx context.Context, st store.Writes, s store.Scope, once store.Once, into M, w Write[M]) (M, error) {
	var last built[M]
	b, err := st.Update(ctx, s, once, w.store(&last))
	return last.answer(ctx, b, err, into)
}

// Create is Update for a trainee that does not exist yet.
func Create[M proto.Message](ctx context.Context, st store.Writes, s store.Scope, once store.Once, t store.Trainee, into M, w Write[M]) (M, error) {
	var last built[M]
	b, err := st.Create(ctx, s, once, t, w.store(&last))
	return last.answer(ctx, b, err, into)
}

// built is what the last run of a write answers with, and the record of it.
type built[M proto.Message] struct {
	message M
	record  []byte
}

// store is the write as the store takes it; what it builds is left in last.
func (w Write[M]) store(last *built[M]) store.Write {
	return func(tx store.Tx) (store.Answer, error) {
		answer, err := w(tx)
		if err != nil {
			return nil, err
		}
		return func(h store.Head) (record []byte, err error) {
			m := answer(h)
			record, err = encode(h, m)
			*last = built[M]{m, record}
			return record, err
		}, nil
	}
}

// encode returns what the store keeps for a replay: the revision, a NUL, the message.
func encode(h store.Head, m proto.Message) ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.MarshalAppend([]byte(convert.Revision(h)+"\x00"), m)
}

// answer returns the message of the record that the store answered with. It is decoded
// on a replay only: then the last run, if there was one, was undone, and what it built
// counts for nothing.
func (last built[M]) answer(ctx context.Context, record []byte, err error, into M) (M, error) {
	var none M
	if err != nil {
		return none, err
	}
	revision, wire, ok := bytes.Cut(record, []byte{0})
	if !ok {
		return none, errors.New("recorded answer has no revision")
	}
	out := last.message
	if !bytes.Equal(record, last.record) {
		if err := proto.Unmarshal(wire, into); err != nil {
			return none, fmt.Errorf("recorded answer: %w", err)
		}
		out = into
	}
	TellRevision(ctx, string(revision))
	TellHeld(ctx, NewEncodedAs(out, wire))
	return out, nil
}

// TellRevision puts the revision into the answer's header.
func TellRevision(ctx context.Context, revision string) {
	// It fails outside a gRPC call only, where there is nobody to tell.
	_ = grpc.SetHeader(ctx, metadata.Pairs(RevisionHeader, revision))
}

// identified is a request that may carry a request id.
type identified interface {
	proto.Message
	GetRequestId() string
}

// Once returns the idempotency record of a request: its id, and a hash of
// everything else in it.
func Once(fullMethod string, req identified) store.Once {
	o := store.Once{Method: fullMethod, RequestID: req.GetRequestId()}
	if o.RequestID == "" {
		return o
	}
	o.BodyHash = Hash(req, "request_id")
	return o
}

// Hash returns a hash of a message without some of its fields.
func Hash(m proto.Message, without ...protoreflect.Name) string {
	c := proto.Clone(m)
	for _, name := range without {
		if f := c.ProtoReflect().Descriptor().Fields().ByName(name); f != nil {
			c.ProtoReflect().Clear(f)
		}
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(c)
	if err != nil { // invalid UTF-8 cannot get here: the message came off the wire
		b = nil
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
