package admin

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
)

// retentionName is the resource name of the one that a tenant has.
const retentionName = "retention"

// GetRetention says how long data is kept.
func (s *Server) GetRetention(ctx context.Context, _ *pb.GetRetentionRequest) (*pb.Retention, error) {
	days, err := s.Store.IdleDays(ctx, access.From(ctx).Tenant)
	if err != nil {
		return nil, err
	}
	return &pb.Retention{Name: retentionName, IdleDays: int32(days)}, nil
}
