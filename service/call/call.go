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
// on a replay, with what was answered the first time, and tells the revision.
func Update[M proto.Message](ctx context.Context, st store.Writes, s store.Scope, once store.Once, into M, w Write[M]) (M, error) {
	b, err := st.Update(ctx, s, once, w.store())
	return decode(ctx, b, err, into)
}

// Create is Update for a trainee that does not exist yet.
func Create[M proto.Message](ctx context.Context, st store.Writes, s store.Scope, once store.Once, t store.Trainee, into M, w Write[M]) (M, error) {
	b, err := st.Create(ctx, s, once, t, w.store())
	return decode(ctx, b, err, into)
}

// store is the write as the store takes it.
func (w Write[M]) store() store.Write {
	return func(tx store.Tx) (store.Answer, error) {
		answer, err := w(tx)
		if err != nil {
			return nil, err
		}
		return Encode(answer), nil
	}
}

// Encode turns a message builder into what the store keeps for a replay: the
// revision, a NUL, the message.
func Encode[M proto.Message](answer func(store.Head) M) store.Answer {
	return func(h store.Head) ([]byte, error) {
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(answer(h))
		return append([]byte(convert.Revision(h)+"\x00"), b...), err
	}
}

func decode[M proto.Message](ctx context.Context, b []byte, err error, into M) (M, error) {
	var none M
	if err != nil {
		return none, err
	}
	revision, message, ok := bytes.Cut(b, []byte{0})
	if !ok {
		return none, errors.New("recorded answer has no revision")
	}
	if err := proto.Unmarshal(message, into); err != nil {
		return none, fmt.Errorf("recorded answer: %w", err)
	}
	TellRevision(ctx, string(revision))
	return into, nil
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
