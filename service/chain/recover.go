package chain

import (
	"context"
	"runtime/debug"

	"google.golang.org/grpc"

	"example.com/steelyard/service/fault"
)

func recoverUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	defer caught(&err)
	return handler(ctx, req)
}

func recoverStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	defer caught(&err)
	return handler(srv, ss)
}

func caught(err *error) {
	if v := recover(); v != nil {
		*err = &fault.Panicked{Value: v, Stack: debug.Stack()}
	}
}
