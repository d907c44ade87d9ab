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
	md, _ := metadata.FromOutgoingContext(ctx)
	if keys := md.Get(idempotencyHeader); len(keys) > 0 {
		if req, ok := args.(proto.Message); ok {
			if err := setRequestID(req.ProtoReflect(), keys[0]); err != nil {
				s, _ := fault.Status(err)
				return s.Err()
			}
		}
	}
	return c.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
}

func setRequestID(req protoreflect.Message, key string) error {
	f := req.Descriptor().Fields().ByName("request_id")
	if f == nil {
		return nil
	}
	if given := req.Get(f).String(); given != "" && given != key {
		return fault.InvalidField("request_id", "differs from the Idempotency-Key header")
	}
	req.Set(f, protoreflect.ValueOfString(key))
	return nil
}
