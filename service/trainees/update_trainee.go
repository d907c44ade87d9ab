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

// UpdateTrainee changes the fields that the mask names.
func (s *Server) UpdateTrainee(ctx context.Context, req *pb.UpdateTraineeRequest) (*pb.Trainee, error) {
	id, err := convert.TraineeIDFrom(req.GetTrainee().GetName(), "trainee.name")
	if err != nil {
		return nil, err
	}
	once := call.Once(pb.TraineeService_UpdateTrainee_FullMethodName, req)
	return call.Update(ctx, s.Store, call.Scope(ctx, id), once, &pb.Trainee{},
		func(tx store.Tx) (func(store.Head) *pb.Trainee, error) {
			current, err := tx.Trainee()
			if err != nil {
				return nil, err
			}
			merged := convert.TraineeToProto(current, tx.Head())
			if err := call.Merge(merged, req.GetTrainee(), req.GetUpdateMask()); err != nil {
				return nil, err
			}
			t, err := convert.TraineeFromProto(merged, id, s.Now())
			if err != nil {
				return nil, fault.Under("trainee", err)
			}
			if err := tx.PutTrainee(t); err != nil {
				return nil, err
			}
			stored, err := tx.Trainee()
			if err != nil {
				return nil, err
			}
			by := trail.Of(ctx, "UpdateTrainee", convert.TraineeName(id), s.Now())
			return func(h store.Head) *pb.Trainee { return convert.TraineeToProto(stored, h) }, tx.Audit(by)
		})
}
