package admin

import (
	"context"
	"errors"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// CreateApiKey makes a key.
func (s *Server) CreateApiKey(ctx context.Context, req *pb.CreateApiKeyRequest) (*pb.IssuedApiKey, error) {
	k, err := convert.KeyFromProto(req.GetApiKey(), s.Now())
	if err != nil {
		return nil, fault.Under("api_key", err)
	}
	token, k, err := s.issue(ctx, "CreateApiKey", req.GetRequestId(), k)
	if err != nil {
		return nil, err
	}
	err = s.Store.PutKey(ctx, k, s.did(ctx, "CreateApiKey", k.ID))
	if errors.Is(err, store.ErrNotFound) {
		return nil, fault.InvalidField("api_key.trainee", "there is no such trainee")
	}
	if err != nil {
		return nil, err
	}
	return &pb.IssuedApiKey{ApiKey: convert.KeyToProto(k), Token: token}, nil
}
