package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
)

// Forecast has no answer yet.
func (s *Server) Forecast(context.Context, *pb.ForecastRequest) (*pb.ForecastResponse, error) {
	return nil, &fault.NotYet{Sentence: "the forecast is not there yet; the recommendation states the rate of loss with its range"}
}
