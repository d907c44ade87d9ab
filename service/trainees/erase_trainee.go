package trainees

import (
	"context"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
)

// EraseTrainee removes a trainee and everything held of it.
func (s *Server) EraseTrainee(ctx context.Context, req *pb.EraseTraineeRequest) (*pb.EraseTraineeResponse, error) {
	sc := call.Scope(ctx, convert.TraineeFrom(req.GetName()))
	erased, err := s.Store.Erase(ctx, sc)
	if err != nil {
		return nil, err
	}
	s.Forget(ctx, sc)
	return &pb.EraseTraineeResponse{
		ErasedEntryCount: int32(erased.Entries), ErasedPlanCount: int32(erased.Plans), ErasedDecisionCount: int32(erased.Decisions),
		EraseTime: timestamppb.New(s.Now()),
	}, nil
}
