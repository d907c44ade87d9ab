package service

import (
	"context"
	"net/http"
	"time"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// What the tests outside of the package need of an App beside its addresses.

// GRPC returns the server of the gRPC listener.
func (a *App) GRPC() *grpc.Server { return a.grpc }

// AdminGRPC returns the server of gRPC on the admin listener.
func (a *App) AdminGRPC() *grpc.Server { return a.adminGRPC }

// AdminJSON returns the handler of the admin listener.
func (a *App) AdminJSON() http.Handler { return a.admin.Handler }

// JSON returns the handler of the JSON listener.
func (a *App) JSON() http.Handler { return a.json.Handler }

// IssueEdited is Issue of a key that edit has changed before it is stored.
func (k *Keyring) IssueEdited(ctx context.Context, tenant string, scopes []string, edit func(*store.Key)) (string, error) {
	token, key, err := access.Issue(k.pepper, tenant, "test", scopes, time.Now().UTC().Truncate(time.Second), time.Time{})
	if err != nil {
		return "", err
	}
	edit(&key)
	return token, k.store.PutKey(ctx, key, store.AuditRecord{ID: store.NewAuditID(time.Now()), At: time.Now()})
}
