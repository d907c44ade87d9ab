package chain

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"math/rand/v2"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
)

// CallIDHeader names a call in logs and answers. It has nothing to do with the
// request_id of a write.
const CallIDHeader = "x-request-id"

// longestCallID bounds what a caller may name a call.
const longestCallID = 64

// ordinary reports whether a caller's id may stand in logs and headers: letters,
// digits, dots, hyphens and underscores.
func ordinary(id string) bool {
	for i := range len(id) {
		switch c := id[i]; {
		case 'a' <= c && c <= 'z', 'A' <= c && c <= 'Z', '0' <= c && c <= '9', c == '.', c == '-', c == '_':
		default:
			return false
		}
	}
	return id != "" && len(id) <= longestCallID
}

// newCallID makes an id that no other call has. It is no secret, so it need not
// be hard to guess.
func newCallID() string {
	var b [16]byte
	binary.BigEndian.PutUint64(b[:8], rand.Uint64()) // #nosec G404 -- no secret
	binary.BigEndian.PutUint64(b[8:], rand.Uint64()) // #nosec G404 -- no secret
	return string(hex.AppendEncode(make([]byte, 0, 2*len(b)), b[:]))
}

type callIDKey struct{}

// withCallID is a context and the id of a call in one piece of memory.
type withCallID struct {
	context.Context
	id string
}

// Value implements context.Context.
func (c *withCallID) Value(key any) any {
	if key == (callIDKey{}) {
		return &c.id
	}
	return c.Context.Value(key)
}

// CallID returns the id of the call in progress.
func CallID(ctx context.Context) string {
	if id, ok := ctx.Value(callIDKey{}).(*string); ok {
		return *id
	}
	return ""
}

// named takes the caller's id for the call when it has an ordinary shape, and
// makes one otherwise.
func named(ctx context.Context) (context.Context, metadata.MD) {
	id := first(ctx, CallIDHeader)
	if !ordinary(id) {
		id = newCallID()
	}
	return &withCallID{ctx, id}, metadata.MD{CallIDHeader: {id}}
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
		_ = grpc.SendHeader(ctx, md) // nothing is added after it, and SetHeader would copy
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
	if v := metadata.ValueFromIncomingContext(ctx, key); len(v) > 0 {
		return v[0]
	}
	return ""
}
