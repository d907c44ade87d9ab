package trainees

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// CreateTrainee creates a trainee.
func (s *Server) CreateTrainee(ctx context.Context, req *pb.CreateTraineeRequest) (*pb.Trainee, error) {
	t, err := convert.TraineeFromProto(req.GetTrainee(), req.GetTraineeId(), s.Now())
	if err != nil {
		return nil, fault.Under("trainee", err)
	}
	once := call.Once(pb.TraineeService_CreateTrainee_FullMethodName, req)
	return call.Create(ctx, s.Store, call.Scope(ctx, t.ID), once, t, &pb.Trainee{},
		func(tx store.Tx) (func(store.Head) *pb.Trainee, error) {
			made, err := tx.Trainee()
			if err != nil {
				return nil, err
			}
			by := trail.Of(ctx, "CreateTrainee", convert.TraineeName(t.ID), s.Now())
			return func(h store.Head) *pb.Trainee { return convert.TraineeToProto(made, h) }, tx.Audit(by)
		})
}
