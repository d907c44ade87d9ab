package trainees

import (
	"google.golang.org/grpc"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
)

// ExportTrainee has no answer yet.
func (s *Server) ExportTrainee(*pb.ExportTraineeRequest, grpc.ServerStreamingServer[pb.ExportTraineeResponse]) error {
	return &fault.NotYet{Sentence: "export is not there yet; list entries, plans and decisions instead"}
}
