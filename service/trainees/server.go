// Package trainees serves TraineeService: one file an RPC.
package trainees

import (
	"context"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// Server implements TraineeService.
type Server struct {
	pb.UnimplementedTraineeServiceServer
	Store store.Store
	Now   func() time.Time
	Names trail.Names // of the erased
	// Forget drops what bags hold of an erased trainee.
	Forget func(context.Context, store.Scope)
}
