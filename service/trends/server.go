// Package trends serves TrendService: one file an RPC.
package trends

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/window"
)

// Server implements TrendService.
type Server struct {
	pb.UnimplementedTrendServiceServer
	Windows *window.Source
	Now     func() time.Time
}
