// Package admin serves AdminService: one file an RPC.
package admin

import (
	"context"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// Server implements AdminService. Whoever holds the scope admin may give any scope
// to a key of the same tenant: it stands for the tenant itself.
type Server struct {
	pb.UnimplementedAdminServiceServer
	Store  store.Store
	Pages  call.Pager
	Pepper []byte // of the hashes of keys
	Now    func() time.Time
	Ended  func(keyID string) // hears of a key that ends sooner than it said
}

// issue gives a key its tenant, its id and its secret. With a request id the id is
// the same each time, so that the store refuses the second one.
func (s *Server) issue(ctx context.Context, method, requestID string, k store.Key) (token string, _ store.Key, err error) {
	k.Tenant = access.From(ctx).Tenant
	if requestID != "" {
		if k.ID, err = access.RequestedID(s.Pepper, k.Tenant, method, requestID); err != nil {
			return "", store.Key{}, err
		}
	}
	return access.Fill(s.Pepper, k)
}

// did is the record of what the caller does to a key.
func (s *Server) did(ctx context.Context, method, key string) store.AuditRecord {
	return trail.Of(ctx, method, convert.KeyName(key), s.Now())
}
