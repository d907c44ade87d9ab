// Package chain is the one way into the services, for gRPC and for JSON alike:
// an ordered list of interceptors, one a file. From the outside in:
//
//	request id    names the call
//	log           one line a call that failed or took long: method, code, duration; never a
//	              value or a trainee
//	faults        the only place where errors become statuses
//	recover       a panic becomes an error
//	credential    who is calling; the tenant comes from here only
//	scope         may they; before validation, so that a refusal tells nothing of the request
//	rate          does the key call too often
//	subject       which trainee is it about: the one that the credential is bound to, if it
//	              is; and is that one asked about too often
//	deadline      a call without a deadline gets one
//	admit         a slot to work in, or a refusal at once; no handler runs without
//	validate      the contract's own rules
//	encoded       an answer that is held goes out with its encoded forms
package chain

import (
	"context"
	"log/slog"
	"time"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/limit"
)

// Chain holds what the interceptors need.
type Chain struct {
	Log            *slog.Logger
	Authenticator  access.Authenticator
	RequestTimeout time.Duration

	Limiter     *limit.Limiter
	Writes      *limit.Limiter // of writes; nil: Limiter, like all else
	KeyRate     Rate           // nil: no limit
	TraineeRate Rate           // nil: no limit
	Count       limit.Counter
}

// Unary returns the interceptors of one-answer calls, outermost first.
func (c Chain) Unary() []grpc.UnaryServerInterceptor {
	return []grpc.UnaryServerInterceptor{
		requestIDUnary, c.logUnary, c.faultsUnary, recoverUnary, c.credentialUnary, scopeUnary,
		c.rateUnary, c.subjectUnary, c.deadlineUnary, c.admitUnary, validateUnary, encodedUnary,
	}
}

// Stream returns the interceptors of streams, outermost first. A stream gets no
// deadline of ours: its handler bounds each step.
func (c Chain) Stream() []grpc.StreamServerInterceptor {
	return []grpc.StreamServerInterceptor{
		requestIDStream, c.logStream, c.faultsStream, recoverStream, c.credentialStream, scopeStream,
		c.rateStream, c.subjectStream, c.admitStream, validateStream,
	}
}

// JoinUnary makes one interceptor of many.
func JoinUnary(all []grpc.UnaryServerInterceptor) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		c := &unaryCall{left: all, info: info, handler: handler}
		c.next = c.step
		return c.step(ctx, req)
	}
}

// unaryCall is a call on its way through the interceptors. Each of them calls
// its handler at most once, so one function serves all of them, where a closure
// each would be made anew for every call.
type unaryCall struct {
	left    []grpc.UnaryServerInterceptor
	info    *grpc.UnaryServerInfo
	handler grpc.UnaryHandler
	next    grpc.UnaryHandler // step
}

func (c *unaryCall) step(ctx context.Context, req any) (any, error) {
	if len(c.left) == 0 {
		return c.handler(ctx, req)
	}
	first := c.left[0]
	c.left = c.left[1:]
	return first(ctx, req, c.info, c.next)
}

// JoinStream makes one interceptor of many.
func JoinStream(all []grpc.StreamServerInterceptor) grpc.StreamServerInterceptor {
	return func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		for i := len(all) - 1; i >= 0; i-- {
			next, interceptor := handler, all[i]
			handler = func(srv any, ss grpc.ServerStream) error { return interceptor(srv, ss, info, next) }
		}
		return handler(srv, ss)
	}
}

// inContext is a stream with another context.
type inContext struct {
	grpc.ServerStream
	ctx context.Context
}

// Context implements grpc.ServerStream.
func (s inContext) Context() context.Context { return s.ctx }
