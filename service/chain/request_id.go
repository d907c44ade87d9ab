package chain

import (
	"context"
	"regexp"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
)

// CallIDHeader names a call in logs and answers. It has nothing to do with the
// request_id of a write.
const CallIDHeader = "x-request-id"

var callIDShape = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

type callIDKey struct{}

// CallID returns the id of the call in progress.
func CallID(ctx context.Context) string {
	id, _ := ctx.Value(callIDKey{}).(string)
	return id
}

// named takes the caller's id for the call when it has an ordinary shape, and
// makes one otherwise.
func named(ctx context.Context) context.Context {
	id := first(ctx, CallIDHeader)
	if !callIDShape.MatchString(id) {
		id = uuid.NewString()
	}
	// It fails outside a gRPC call only, where there is nobody to tell.
	_ = grpc.SetHeader(ctx, metadata.Pairs(CallIDHeader, id))
	return context.WithValue(ctx, callIDKey{}, id)
}

func requestIDUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	return handler(named(ctx), req)
}

func requestIDStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return handler(srv, inContext{ss, named(ss.Context())})
}

// first returns the first value of a metadata key.
func first(ctx context.Context, key string) string {
	md, _ := metadata.FromIncomingContext(ctx)
	if v := md.Get(key); len(v) > 0 {
		return v[0]
	}
	return ""
}
