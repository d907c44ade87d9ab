// Package trainees serves TraineeService: one file an RPC.
package trainees

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store"
)

// Server implements TraineeService.
type Server struct {
	pb.UnimplementedTraineeServiceServer
	Store store.Store
	Now   func() time.Time
}
