package gateway

import (
	"context"

	"github.com/fullstorydev/grpchan/inprocgrpc"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Inside is the way from the gateway to the services: no socket, and the same
// interceptors as on the gRPC listener. Streams go by inprocgrpc. For calls with
// one answer that library starts a goroutine and copies both messages whole,
// since its caller might change them; the gateway does not, so a call here is
// one of a function, and the messages share what is in them.
type Inside struct {
	*inprocgrpc.Channel
	unary       map[string]unaryMethod
	interceptor grpc.UnaryServerInterceptor
}

type unaryMethod struct {
	server  any
	handler grpc.MethodHandler
}

// NewInside returns a way to the services that are registered with it later.
func NewInside(unary grpc.UnaryServerInterceptor, stream grpc.StreamServerInterceptor) *Inside {
	return &Inside{
		Channel: (&inprocgrpc.Channel{}).WithServerStreamInterceptor(stream),
		unary:   map[string]unaryMethod{}, interceptor: unary,
	}
}

// RegisterService implements grpc.ServiceRegistrar.
func (c *Inside) RegisterService(desc *grpc.ServiceDesc, server any) {
	for _, m := range desc.Methods {
		c.unary["/"+desc.ServiceName+"/"+m.MethodName] = unaryMethod{server, m.Handler}
	}
	c.Channel.RegisterService(desc, server)
}

// Invoke implements grpc.ClientConnInterface. The service runs on the caller's
// goroutine, and ctx reaches it with its values. Of the options only Header and
// Trailer have a meaning here.
func (c *Inside) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	m, ok := c.unary[method]
	if !ok {
		return status.Errorf(codes.Unimplemented, "unknown method %s", method)
	}
	md, _ := metadata.FromOutgoingContext(ctx)
	call := &insideCall{method: method}
	ctx = grpc.NewContextWithServerTransportStream(metadata.NewIncomingContext(ctx, md), call)
	resp, err := m.handler(m.server, ctx, func(in any) error { return share(in, args) }, c.interceptor)
	for _, o := range opts {
		switch o := o.(type) {
		case grpc.HeaderCallOption:
			*o.HeaderAddr = call.header
		case grpc.TrailerCallOption:
			*o.TrailerAddr = call.trailer
		}
	}
	if err != nil {
		return err
	}
	if handedOver(ctx, reply, resp) {
		return nil
	}
	return share(reply, resp)
}

// share gives to what is in from.
func share(to, from any) error {
	dst, ok := to.(proto.Message)
	src, same := from.(proto.Message)
	if !ok || !same || dst.ProtoReflect().Descriptor() != src.ProtoReflect().Descriptor() {
		return status.Errorf(codes.Internal, "a %T is not a %T", from, to)
	}
	out := dst.ProtoReflect()
	src.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		out.Set(f, v)
		return true
	})
	return nil
}

// insideCall collects what a service says beside its answer. It is used by one
// goroutine, the call's.
type insideCall struct {
	method          string
	header, trailer metadata.MD
}

// Method implements grpc.ServerTransportStream.
func (c *insideCall) Method() string { return c.method }

// SetHeader implements grpc.ServerTransportStream.
func (c *insideCall) SetHeader(md metadata.MD) error {
	c.header = joined(c.header, md)
	return nil
}

// SendHeader implements grpc.ServerTransportStream.
func (c *insideCall) SendHeader(md metadata.MD) error { return c.SetHeader(md) }

// SetTrailer implements grpc.ServerTransportStream.
func (c *insideCall) SetTrailer(md metadata.MD) error {
	c.trailer = joined(c.trailer, md)
	return nil
}

func joined(have, more metadata.MD) metadata.MD {
	if have == nil {
		return more
	}
	return metadata.Join(have, more)
}
