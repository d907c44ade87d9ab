package gateway

import (
	"io"

	"google.golang.org/grpc/grpclog"
)

// The gateway's library writes what it could not decode to standard error, past
// our log, and that may hold health values. gRPC itself logs there too; what a
// call came to is in our own log.
func init() {
	grpclog.SetLoggerV2(grpclog.NewLoggerV2(io.Discard, io.Discard, io.Discard))
}
