package gateway

import (
	"context"

	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/call"
)

// heldAnswer is an answer that comes with its JSON. Between the call and the writer
// of its answer there is room for a message of the reply's type only, so it goes
// past them, by the context of the request.
type heldAnswer struct {
	reply   any // for which it stands; left empty
	encoded *call.Encoded
}

type heldKey struct{}

// withHeldAnswer returns a context with the place for it.
func withHeldAnswer(ctx context.Context) context.Context {
	return context.WithValue(ctx, heldKey{}, &heldAnswer{})
}

// handedOver puts an answer that comes with its JSON there in place of copying it
// into reply, and reports whether it did.
func handedOver(ctx context.Context, reply, answer any) bool {
	e, held := answer.(*call.Encoded)
	place, asked := ctx.Value(heldKey{}).(*heldAnswer)
	if !held || !asked {
		return false
	}
	place.reply, place.encoded = reply, e
	return true
}

// taken returns what is to be written for a reply.
func taken(ctx context.Context, reply proto.Message) (any, error) {
	if place, ok := ctx.Value(heldKey{}).(*heldAnswer); ok && place.encoded != nil && place.reply == any(reply) {
		return place.encoded, nil
	}
	return reply, nil
}
