package service

import (
	"net/http"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/keepalive"
)

// transport bounds what a connection may ask for before any call is looked at.
// The size of a message is a setting; the same one bounds JSON bodies.
type transport struct {
	headerBytes int    // of one call, on either side
	streams     uint32 // calls at once on one gRPC connection; HTTP/1 has one
	// workers are goroutines that gRPC calls run on one after another. A goroutine
	// of its own would grow its stack anew for each, which costs as much as the
	// interceptors do; a call that finds no worker free still gets one.
	workers uint32

	header time.Duration // to send the headers of a request, or to open a gRPC connection
	admin  time.Duration // to ask and to be answered on the admin listener

	idle       time.Duration // a gRPC connection without a call
	idleHTTP   time.Duration // a kept-alive HTTP connection without a request
	age, grace time.Duration // of a gRPC connection, so that a client finds new replicas; calls in flight get the grace

	ping, pong time.Duration // how often a quiet gRPC connection is asked, and how long for an answer
	minPing    time.Duration // a client that asks more often than this is sent away
}

var bounds = transport{
	headerBytes: 16 << 10, streams: 250, workers: 64,
	header: 5 * time.Second, admin: 10 * time.Second,
	idle: 15 * time.Minute, idleHTTP: 2 * time.Minute, age: 30 * time.Minute, grace: 5 * time.Minute,
	ping: 2 * time.Minute, pong: 20 * time.Second, minPing: 30 * time.Second,
}

func (b transport) grpc(maxMessage int) []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxMessage), grpc.MaxHeaderListSize(uint32(b.headerBytes)), grpc.MaxConcurrentStreams(b.streams),
		grpc.ConnectionTimeout(b.header), grpc.NumStreamWorkers(b.workers),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionIdle: b.idle, MaxConnectionAge: b.age, MaxConnectionAgeGrace: b.grace, Time: b.ping, Timeout: b.pong,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: b.minPing, PermitWithoutStream: true}),
	}
}

// http returns a server whose bodies and answers are bounded by its handler: a
// stream has no length that could be timed as a whole.
func (b transport) http(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: b.header, IdleTimeout: b.idleHTTP, MaxHeaderBytes: b.headerBytes}
}
