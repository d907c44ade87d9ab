// Package trends serves TrendService: one file an RPC.
package trends

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/window"
)

// ahead allows tomorrow: a caller's clock may run ahead of ours.
const ahead = 1

// warmUpDays go before the first day that is needed, so that the trend does not
// start there.
const warmUpDays = 400

// Server implements TrendService.
type Server struct {
	pb.UnimplementedTrendServiceServer
	Windows *window.Source
	Now     func() time.Time
}
