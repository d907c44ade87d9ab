package admin

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// ListAuditRecords lists who did what.
func (s *Server) ListAuditRecords(ctx context.Context, req *pb.ListAuditRecordsRequest) (*pb.ListAuditRecordsResponse, error) {
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return nil, err
	}
	records, err := s.Store.AuditTrail(ctx, access.From(ctx).Tenant, store.AuditQuery{
		Trainee: convert.TraineeFrom(req.GetTrainee()), After: after, Limit: limit + 1, // one more tells whether there is another page
	})
	if err != nil {
		return nil, err
	}
	out := &pb.ListAuditRecordsResponse{}
	if len(records) > limit {
		records = records[:limit]
		out.NextPageToken = s.Pages.Next(ctx, req, records[limit-1].ID)
	}
	for _, r := range records {
		out.AuditRecords = append(out.AuditRecords, convert.AuditToProto(r))
	}
	return out, nil
}
