package admin

import (
	"context"
	"errors"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// ListApiKeys lists the tenant's keys.
func (s *Server) ListApiKeys(ctx context.Context, req *pb.ListApiKeysRequest) (*pb.ListApiKeysResponse, error) {
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return nil, err
	}
	keys, err := s.Store.ListKeys(ctx, access.From(ctx).Tenant, after, limit+1) // one more tells whether there is another page
	if errors.Is(err, store.ErrNotFound) {
		return nil, fault.InvalidField("page_token", "the key that it goes on after went with its trainee; please begin again")
	}
	if err != nil {
		return nil, err
	}
	out := &pb.ListApiKeysResponse{}
	if len(keys) > limit {
		keys = keys[:limit]
		out.NextPageToken = s.Pages.Next(ctx, req, keys[limit-1].ID)
	}
	for _, k := range keys {
		out.ApiKeys = append(out.ApiKeys, convert.KeyToProto(k))
	}
	return out, nil
}
