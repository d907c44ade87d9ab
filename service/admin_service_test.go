package service_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

// TestAdmin_OnItsOwnListenerOnly: no method of AdminService can be reached on the
// public listeners, whatever the key may do, and none of the others on the admin one.
func TestAdmin_OnItsOwnListenerOnly(t *testing.T) {
	r := start(t)
	for name, m := range methods() {
		here, there := r.conn, r.adminConn
		if isAdmin(m) {
			here, there = there, here
		}
		if !m.IsStreamingClient() && !m.IsStreamingServer() {
			if err := there.Invoke(r.ctx(), name, &emptypb.Empty{}, &emptypb.Empty{}); status.Code(err) != codes.Unimplemented {
				t.Errorf("%s on the wrong listener: %v", name, err)
			}
			if err := here.Invoke(r.ctx(), name, &emptypb.Empty{}, &emptypb.Empty{}); status.Code(err) == codes.Unimplemented {
				t.Errorf("%s on its own listener: %v", name, err)
			}
		}
	}
	for _, s := range story() {
		m := methods()[s.method]
		address := r.app.AdminAddress()
		if isAdmin(m) {
			address = r.app.HTTPAddress()
		}
		req := transcode(t, m, s.requests[0])
		if got := r.httpTo(address, r.token, req.verb, req.path, req.body); got.status != http.StatusNotFound {
			t.Errorf("%s %s on the wrong listener: %d %s", req.verb, req.path, got.status, got.body)
		}
	}
}

// TestAdmin_NeedsItsScope: a key that holds everything else, and none at all, are
// refused by both ways in before anything is done.
func TestAdmin_NeedsItsScope(t *testing.T) {
	r := startWith(t, samePepper)
	others := slices.DeleteFunc(access.ScopeNames(), func(s string) bool { return s == access.AdminScope })
	weak, stranger := r.withToken(r.key("tenant-a", others...)), r.withToken("")
	seen := 0
	for _, s := range story() {
		m := methods()[s.method]
		if !isAdmin(m) {
			continue
		}
		seen++
		for _, call := range []func(*running) outcome{
			func(r *running) outcome { return r.callGRPC(t, m, s) }, func(r *running) outcome { return r.callJSON(t, m, s) },
		} {
			if got := call(weak); got.err.GetCode() != int32(codes.PermissionDenied) {
				t.Errorf("%s %s without the scope: %v", s.method, s.note, got)
			}
			if got := call(stranger); got.err.GetCode() != int32(codes.Unauthenticated) {
				t.Errorf("%s %s without a key: %v", s.method, s.note, got)
			}
		}
	}
	if records := r.records(""); seen < 20 || len(records) != 2 { // the two keys of this test
		t.Errorf("%d calls, trail %v", seen, records)
	}
}

// TestAdmin_TenantsAreApart: another tenant's administrator neither sees nor moves
// anything, and its keys are like none.
func TestAdmin_TenantsAreApart(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	mine := r.makeKey(&pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_RECOMMENDATION_READ, pb.Scope_SCOPE_LOG_READ}})
	foreign := r.withToken(r.key("tenant-b", access.ScopeNames()...))
	name := mine.GetApiKey().GetName()
	_, theirs := foreign.admins().RevokeApiKey(foreign.ctx(), &pb.RevokeApiKeyRequest{Name: name})
	_, nobodys := foreign.admins().RevokeApiKey(foreign.ctx(), &pb.RevokeApiKeyRequest{Name: "apiKeys/nope"})
	if status.Code(theirs) != codes.NotFound || theirs.Error() != nobodys.Error() {
		t.Errorf("revoke: %v, %v", theirs, nobodys)
	}
	_, theirs = foreign.admins().RotateApiKey(foreign.ctx(), &pb.RotateApiKeyRequest{Name: name})
	_, nobodys = foreign.admins().RotateApiKey(foreign.ctx(), &pb.RotateApiKeyRequest{Name: "apiKeys/nope"})
	if status.Code(theirs) != codes.NotFound || theirs.Error() != nobodys.Error() {
		t.Errorf("rotate: %v, %v", theirs, nobodys)
	}
	_, err := foreign.admins().CreateApiKey(foreign.ctx(), &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{Scopes: []pb.Scope{1}, Trainee: "trainees/t1"}})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("a key bound to another tenant's trainee: %v", err)
	}
	if _, err := foreign.admins().UpdateRetention(foreign.ctx(), &pb.UpdateRetentionRequest{Retention: &pb.Retention{Name: "retention", IdleDays: 30}}); err != nil {
		t.Fatal(err)
	}
	if got, err := r.admins().GetRetention(r.ctx(), &pb.GetRetentionRequest{Name: "retention"}); err != nil || got.GetIdleDays() != 0 {
		t.Errorf("retention %v, %v", got, err)
	}
	if got := foreign.records(""); len(got) != 2 { // its own key and its retention
		t.Errorf("trail %v", got)
	}
	if got := foreign.records("trainees/t1"); len(got) != 0 {
		t.Errorf("trail of a foreign trainee %v", got)
	}
	keys, err := foreign.admins().ListApiKeys(foreign.ctx(), &pb.ListApiKeysRequest{})
	if err != nil || len(keys.GetApiKeys()) != 1 {
		t.Errorf("keys %v, %v", keys, err)
	}
	// A token of one tenant's listing is of no use to another, or leads nowhere.
	page, err := r.admins().ListApiKeys(r.ctx(), &pb.ListApiKeysRequest{PageSize: 1})
	if err != nil || page.GetNextPageToken() == "" {
		t.Fatalf("page %v, %v", page, err)
	}
	if _, err := foreign.admins().ListApiKeys(foreign.ctx(), &pb.ListApiKeysRequest{PageSize: 1, PageToken: page.GetNextPageToken()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("foreign token: %v", err)
	}
	if !r.opens(mine.GetToken()) {
		t.Error("the key does not open any more")
	}
}

// TestAdmin_GRPCBounds: a message over the limit is refused on this listener too.
func TestAdmin_GRPCBounds(t *testing.T) {
	r := startWith(t, func(c *service.Config) { c.MaxBodyBytes = 1 << 10 })
	big := &pb.ListApiKeysRequest{PageToken: strings.Repeat("x", 2<<10)}
	if _, err := r.admins().ListApiKeys(r.ctx(), big); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("2 KiB: %v", err)
	}
	if got := r.httpTo(r.app.AdminAddress(), r.token, "POST", "/v1/apiKeys", `{"displayName":"`+strings.Repeat("x", 2<<10)+`"}`); got.status != http.StatusRequestEntityTooLarge {
		t.Errorf("2 KiB: %d %s", got.status, got.body)
	}
}
