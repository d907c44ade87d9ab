package chain

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/mem"

	"example.com/steelyard/service/call"
)

// encodedUnary gives an answer that has its encoded forms with them, where the codec
// and the gateway find them.
func encodedUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, held := call.WithHeld(ctx)
	resp, err := handler(ctx, req)
	return held.Of(resp), err
}

// Marshal implements encoding.CodecV2. A form that is held goes out as a slice of no
// pool: nobody writes to it or uses it again for something else.
func (c codec) Marshal(v any) (mem.BufferSlice, error) {
	e, ok := v.(*call.Encoded)
	if !ok {
		return c.CodecV2.Marshal(v)
	}
	wire, err := e.Wire()
	return mem.BufferSlice{mem.SliceBuffer(wire)}, err
}
