package gateway

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service/fault"
)

// idempotent turns the Idempotency-Key header into the request_id of a write.
// On a request that has none it means nothing.
type idempotent struct{ grpc.ClientConnInterface }

// Invoke implements grpc.ClientConnInterface.
func (c idempotent) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	if req, ok := args.(proto.Message); ok {
		if f := req.ProtoReflect().Descriptor().Fields().ByName("request_id"); f != nil {
			if err := setRequestID(ctx, req.ProtoReflect(), f); err != nil {
				s, _ := fault.Status(err)
				return s.Err()
			}
		}
	}
	return c.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
}

func setRequestID(ctx context.Context, req protoreflect.Message, f protoreflect.FieldDescriptor) error {
	md, _ := metadata.FromOutgoingContext(ctx) // a copy, made for writes only
	keys := md.Get(idempotencyHeader)
	if len(keys) == 0 {
		return nil
	}
	if given := req.Get(f).String(); given != "" && given != keys[0] {
		return fault.InvalidField("request_id", "differs from the Idempotency-Key header")
	}
	req.Set(f, protoreflect.ValueOfString(keys[0]))
	return nil
}
