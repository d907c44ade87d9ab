// Package gateway speaks JSON over HTTP for the services. It is a client of
// them: every call passes the same interceptors as gRPC.
package gateway

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/chain"
)

// idempotencyHeader is the HTTP name of request_id.
const idempotencyHeader = "idempotency-key"

// Options of a gateway.
type Options struct {
	Authenticator access.Authenticator
	MaxBodyBytes  int // of a body; of one line of a streamed body
}

// register binds a service's paths to a client of it.
type register func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error

// New returns the JSON side of the services that cc reaches.
func New(ctx context.Context, cc grpc.ClientConnInterface, o Options) (http.Handler, error) {
	return serving(ctx, cc, o,
		func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error {
			return pb.RegisterLogbookServiceHandlerClient(ctx, m, pb.NewLogbookServiceClient(cc))
		},
		func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error {
			return pb.RegisterTrendServiceHandlerClient(ctx, m, pb.NewTrendServiceClient(cc))
		},
		func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error {
			return pb.RegisterPhaseServiceHandlerClient(ctx, m, pb.NewPhaseServiceClient(cc))
		},
		func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error {
			return pb.RegisterTraineeServiceHandlerClient(ctx, m, pb.NewTraineeServiceClient(cc))
		})
}

// NewAdmin returns the JSON side of the admin service.
func NewAdmin(ctx context.Context, cc grpc.ClientConnInterface, o Options) (http.Handler, error) {
	return serving(ctx, cc, o, func(ctx context.Context, m *runtime.ServeMux, cc grpc.ClientConnInterface) error {
		return pb.RegisterAdminServiceHandlerClient(ctx, m, pb.NewAdminServiceClient(cc))
	})
}

func serving(ctx context.Context, cc grpc.ClientConnInterface, o Options, services ...register) (http.Handler, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, marshaler{&runtime.JSONPb{
			MarshalOptions:   call.JSON,
			UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
		}}),
		runtime.SetQueryParameterParser(queryParser{}),
		runtime.WithForwardResponseRewriter(taken),
		runtime.WithErrorHandler(writeError),
		runtime.WithRoutingErrorHandler(writeRoutingError),
		runtime.WithIncomingHeaderMatcher(only("authorization", idempotencyHeader, chain.CallIDHeader)),
		runtime.WithOutgoingHeaderMatcher(only(http.CanonicalHeaderKey(call.RevisionHeader), http.CanonicalHeaderKey(chain.CallIDHeader))),
		// A form sent by POST is not a GET.
		runtime.WithDisablePathLengthFallback(),
	)
	cc = streamed{idempotent{cc}}
	for _, register := range services {
		if err := register(ctx, mux, cc); err != nil {
			return nil, fmt.Errorf("register gateway: %w", err)
		}
	}
	return unstalled(stallTimeout, headers(authenticated(o.Authenticator, limited(o.MaxBodyBytes, mux)))), nil
}

// only lets the named headers through, under the names as given.
func only(names ...string) runtime.HeaderMatcherFunc {
	return func(key string) (string, bool) {
		for _, n := range names {
			if strings.EqualFold(key, n) {
				return n, true
			}
		}
		return "", false
	}
}
