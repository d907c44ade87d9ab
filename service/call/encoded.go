package call

import (
	"bytes"
	"context"
	"sync"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// JSON is how messages are written as JSON: zeros and empty lists are shown; what
// is not known is left out.
var JSON = protojson.MarshalOptions{EmitDefaultValues: true}

// Encoded is an answer with its encoded forms: one that is held, to be given more than
// once, or one that was recorded. To whoever knows nothing of the forms it is the
// message. All of it is shared: read only.
type Encoded struct {
	proto.Message
	Wire func() ([]byte, error) // as gRPC sends it; made at the first call
	JSON func() ([]byte, error) // as the gateway writes it; made at the first call
}

// NewEncoded returns a message, to which nothing may write any more, with its forms.
func NewEncoded(m proto.Message) *Encoded {
	return withJSON(m, sync.OnceValues(func() ([]byte, error) { return proto.Marshal(m) }))
}

// NewEncodedAs is NewEncoded for a message whose form for gRPC is there already.
func NewEncodedAs(m proto.Message, wire []byte) *Encoded {
	return withJSON(m, func() ([]byte, error) { return wire, nil })
}

func withJSON(m proto.Message, wire func() ([]byte, error)) *Encoded {
	return &Encoded{
		Message: m,
		Wire:    wire,
		JSON: sync.OnceValues(func() ([]byte, error) {
			b, err := JSON.Marshal(m)
			return bytes.Clone(b), err // without the room that the marshaller left
		}),
	}
}

type heldKey struct{}

// Held is where a handler whose answer has its forms says so: its signature has room
// for the message only.
type Held struct{ answer *Encoded }

// WithHeld returns a context for a handler, and what it will say there.
func WithHeld(ctx context.Context) (context.Context, *Held) {
	h := &Held{}
	return context.WithValue(ctx, heldKey{}, h), h
}

// TellHeld says that the answer is one that has its forms.
func TellHeld(ctx context.Context, e *Encoded) {
	if h, ok := ctx.Value(heldKey{}).(*Held); ok { // nobody asks outside of a call
		h.answer = e
	}
}

// Of returns an answer with its forms when it is the one that is held, and else
// as it is.
func (h *Held) Of(answer any) any {
	if h.answer != nil && answer == any(h.answer.Message) {
		return h.answer
	}
	return answer
}
