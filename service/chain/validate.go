package chain

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/validate"
)

func validateUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := valid(req); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func validateStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return handler(srv, validating{ss})
}

// validating checks each message as it arrives.
type validating struct{ grpc.ServerStream }

// RecvMsg implements grpc.ServerStream.
func (s validating) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return valid(m)
}

func valid(m any) error {
	msg, ok := m.(proto.Message)
	switch {
	case !ok:
		return nil
	case isUndecoded(msg):
		return errUndecoded
	}
	if err := unsigned(msg); err != nil {
		return err
	}
	return validate.Message(msg)
}
