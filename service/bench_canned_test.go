//go:build unix

package service

import (
	"context"
	"errors"
	"net/http"
	"sync/atomic"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// The canned service is what the real ones are measured against. It takes the
// request of a recommendation, so that the chain has the same to check, and
// answers with one that was made before, or with nothing.
const (
	cannedService   = "steelyard.bench.Canned"
	cannedRecommend = "/" + cannedService + "/Recommend"
	cannedNothing   = "/" + cannedService + "/Nothing"
)

type canned struct {
	answer atomic.Pointer[pb.Recommendation]
}

var errNoAnswer = errors.New("the canned service has been given no answer")

func (c *canned) recommend(context.Context, *pb.RecommendRequest) (proto.Message, error) {
	if a := c.answer.Load(); a != nil {
		return a, nil
	}
	return nil, errNoAnswer
}

func (c *canned) nothing(context.Context, *pb.RecommendRequest) (proto.Message, error) {
	return &emptypb.Empty{}, nil
}

// ServeHTTP answers with the canned recommendation in JSON, marshalled anew each
// time: what a plain handler of net/http would do.
func (c *canned) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	a, err := c.recommend(r.Context(), nil)
	if err == nil {
		var body []byte
		if body, err = (protojson.MarshalOptions{EmitDefaultValues: true}).Marshal(a); err == nil { // as the gateway does
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(body)
			return
		}
	}
	http.Error(w, err.Error(), http.StatusInternalServerError)
}

// register puts the canned service on a server.
func (c *canned) register(r grpc.ServiceRegistrar) {
	method := func(name string, f func(context.Context, *pb.RecommendRequest) (proto.Message, error)) grpc.MethodDesc {
		return grpc.MethodDesc{MethodName: name, Handler: func(_ any, ctx context.Context, decode func(any) error, interceptor grpc.UnaryServerInterceptor) (any, error) {
			in := new(pb.RecommendRequest)
			if err := decode(in); err != nil {
				return nil, err
			}
			if interceptor == nil {
				return f(ctx, in)
			}
			info := &grpc.UnaryServerInfo{Server: c, FullMethod: "/" + cannedService + "/" + name}
			return interceptor(ctx, in, info, func(ctx context.Context, req any) (any, error) { return f(ctx, req.(*pb.RecommendRequest)) })
		}}
	}
	r.RegisterService(&grpc.ServiceDesc{
		ServiceName: cannedService, HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{method("Recommend", c.recommend), method("Nothing", c.nothing)},
	}, c)
}

// declareCanned makes the canned service known as the contract's services are:
// the chain denies a method that declares no scope.
func declareCanned() error {
	options := &descriptorpb.MethodOptions{}
	proto.SetExtension(options, pb.E_RequiredScope, pb.Scope_SCOPE_RECOMMENDATION_READ)
	method := func(name, answer string) *descriptorpb.MethodDescriptorProto {
		return &descriptorpb.MethodDescriptorProto{
			Name: proto.String(name), InputType: proto.String(".steelyard.v1.RecommendRequest"), OutputType: proto.String(answer), Options: options,
		}
	}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("steelyard/bench/canned.proto"), Package: proto.String("steelyard.bench"), Syntax: proto.String("proto3"),
		Dependency: []string{
			pb.File_steelyard_v1_phase_service_proto.Path(), pb.File_steelyard_v1_recommendation_proto.Path(), "google/protobuf/empty.proto",
		},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("Canned"), Method: []*descriptorpb.MethodDescriptorProto{
			method("Recommend", ".steelyard.v1.Recommendation"), method("Nothing", ".google.protobuf.Empty"),
		}}},
	}, protoregistry.GlobalFiles)
	if err != nil {
		return err
	}
	return protoregistry.GlobalFiles.RegisterFile(file)
}
