package admin

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
)

// RevokeApiKey ends a key for good.
func (s *Server) RevokeApiKey(ctx context.Context, req *pb.RevokeApiKeyRequest) (*pb.ApiKey, error) {
	id := convert.KeyFrom(req.GetName())
	k, err := s.Store.RevokeKey(ctx, access.From(ctx).Tenant, id, s.did(ctx, "RevokeApiKey", id))
	if err != nil {
		return nil, err
	}
	s.Ended(id)
	return convert.KeyToProto(k), nil
}
