package trends

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
)

// GetStrengthTrend has no answer yet.
func (s *Server) GetStrengthTrend(context.Context, *pb.GetStrengthTrendRequest) (*pb.StrengthTrend, error) {
	return nil, &fault.NotYet{Sentence: "the strength trend is not there yet; lift sets are kept and will count"}
}
