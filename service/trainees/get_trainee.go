package trainees

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// GetTrainee reads a trainee.
func (s *Server) GetTrainee(ctx context.Context, req *pb.GetTraineeRequest) (*pb.Trainee, error) {
	var out *pb.Trainee
	err := s.Store.View(ctx, call.Scope(ctx, convert.TraineeFrom(req.GetName())), func(v store.View) error {
		t, err := v.Trainee()
		out = convert.TraineeToProto(t, v.Head())
		return err
	})
	if err != nil {
		return nil, err
	}
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
