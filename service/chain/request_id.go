package chain

import (
	"context"
	"regexp"
	"sync"

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
func named(ctx context.Context) (context.Context, metadata.MD) {
	id := first(ctx, CallIDHeader)
	if !callIDShape.MatchString(id) {
		id = uuid.NewString()
	}
	return context.WithValue(ctx, callIDKey{}, id), metadata.Pairs(CallIDHeader, id)
}

// The id goes into the header of an answer and into the trailer of an error: an
// error that comes with a header is one that gRPC clients never retry by
// themselves (gRFC A6: the call is committed).

func requestIDUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, md := named(ctx)
	resp, err := handler(ctx, req)
	// Both fail outside a gRPC call only, where there is nobody to tell.
	if err != nil {
		_ = grpc.SetTrailer(ctx, md)
	} else {
		_ = grpc.SetHeader(ctx, md)
	}
	return resp, err
}

func requestIDStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	ctx, md := named(ss.Context())
	named := &namedStream{inContext: inContext{ss, ctx}, md: md}
	err := handler(srv, named)
	if err != nil {
		ss.SetTrailer(md)
	}
	return err
}

// namedStream puts the id into the header, which goes out with the first answer.
type namedStream struct {
	inContext
	md   metadata.MD
	once sync.Once
}

// SendMsg implements grpc.ServerStream.
func (s *namedStream) SendMsg(m any) error {
	s.once.Do(func() { _ = s.SetHeader(s.md) }) // it fails once the header is out; SendMsg will say so
	return s.inContext.SendMsg(m)
}

// first returns the first value of a metadata key.
func first(ctx context.Context, key string) string {
	md, _ := metadata.FromIncomingContext(ctx)
	if v := md.Get(key); len(v) > 0 {
		return v[0]
	}
	return ""
}
