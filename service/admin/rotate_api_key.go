package admin

import (
	"context"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// defaultOverlapHours is how long both keys work when the caller does not say.
const defaultOverlapHours = 24

// RotateApiKey makes a key's successor.
func (s *Server) RotateApiKey(ctx context.Context, req *pb.RotateApiKeyRequest) (*pb.IssuedApiKey, error) {
	now := s.Now()
	expires, err := convert.ExpiryFromProto(req.GetExpireTime(), "expire_time", now)
	if err != nil {
		return nil, err
	}
	old, err := s.Store.Key(ctx, convert.KeyFrom(req.GetName()))
	if err != nil {
		return nil, err
	}
	if old.Tenant != access.From(ctx).Tenant {
		return nil, store.ErrNotFound
	}
	token, k, err := s.issue(ctx, "RotateApiKey", req.GetRequestId(), old.Successor(now, expires))
	if err != nil {
		return nil, err
	}
	hours := int32(defaultOverlapHours)
	if req.OverlapHours != nil {
		hours = req.GetOverlapHours()
	}
	ends := now.Add(time.Duration(hours) * time.Hour)
	if err := s.Store.RotateKey(ctx, old.ID, ends, k, s.did(ctx, "RotateApiKey", old.ID)); err != nil {
		return nil, err
	}
	s.Ended(old.ID)
	return &pb.IssuedApiKey{ApiKey: convert.KeyToProto(k), Token: token}, nil
}
