package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
)

// ListDueReviews has no answer yet.
func (s *Server) ListDueReviews(context.Context, *pb.ListDueReviewsRequest) (*pb.ListDueReviewsResponse, error) {
	return nil, &fault.NotYet{Sentence: "the list of due reviews is not there yet; each recommendation states its next_review_date"}
}
