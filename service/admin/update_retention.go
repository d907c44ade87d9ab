package admin

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/trail"
)

// UpdateRetention sets how long data is kept.
func (s *Server) UpdateRetention(ctx context.Context, req *pb.UpdateRetentionRequest) (*pb.Retention, error) {
	if req.GetRetention().GetName() != retentionName {
		return nil, fault.InvalidField("retention.name", "must be %s", retentionName)
	}
	days := req.GetRetention().GetIdleDays()
	err := s.Store.SetIdleDays(ctx, access.From(ctx).Tenant, int(days), trail.Of(ctx, "UpdateRetention", retentionName, s.Now()))
	if err != nil {
		return nil, err
	}
	return &pb.Retention{Name: retentionName, IdleDays: days}, nil
}
