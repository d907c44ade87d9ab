package chain

import (
	"bytes"

	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/proto" // registers the codec
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/fault"
)

// errUndecoded: what came is no message of the request.
var errUndecoded = fault.InvalidField("(message)", "is not a valid message of this request")

// undecoded marks a message that stands for one that could not be decoded: a field
// of the last number there is, which no message of the contract has.
var undecoded = protowire.AppendVarint(protowire.AppendTag(nil, protowire.MaxValidNumber, protowire.VarintType), 1)

// Codec returns gRPC's codec of messages, except that it decodes everything, and that
// it sends a held answer as it is encoded already. Where a
// codec fails, grpc answers by itself before any interceptor: INTERNAL, in the
// decoder's words, to strangers too. Here the call passes the chain, and its
// validation refuses the marked message.
func Codec() encoding.CodecV2 { return codec{encoding.GetCodecV2("proto")} }

type codec struct{ encoding.CodecV2 }

// Unmarshal implements encoding.CodecV2.
func (c codec) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	m, ok := v.(proto.Message)
	if err == nil || !ok {
		return err
	}
	proto.Reset(m)
	m.ProtoReflect().SetUnknown(undecoded)
	return nil
}

func isUndecoded(m proto.Message) bool { return bytes.Equal(m.ProtoReflect().GetUnknown(), undecoded) }
