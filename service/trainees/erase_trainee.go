package trainees

import (
	"context"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/trail"
)

// EraseTrainee removes a trainee and everything held of it. What is left is a record
// that somebody was erased.
func (s *Server) EraseTrainee(ctx context.Context, req *pb.EraseTraineeRequest) (*pb.EraseTraineeResponse, error) {
	sc := call.Scope(ctx, convert.TraineeFrom(req.GetName()))
	by := trail.Of(ctx, "EraseTrainee", s.Names.Erased(sc), s.Now())
	erased, err := s.Store.Erase(ctx, sc, by)
	if err != nil {
		return nil, err
	}
	s.Forget(ctx, sc)
	return &pb.EraseTraineeResponse{
		ErasedEntryCount: int32(erased.Entries), ErasedPlanCount: int32(erased.Plans), ErasedDecisionCount: int32(erased.Decisions),
		EraseTime: timestamppb.New(by.At), Receipt: by.ID,
	}, nil
}
