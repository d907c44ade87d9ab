package service_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
)

// makeKey makes a key by AdminService.
func (r *running) makeKey(k *pb.ApiKey) *pb.IssuedApiKey {
	r.t.Helper()
	got, err := r.admins().CreateApiKey(r.ctx(), &pb.CreateApiKeyRequest{ApiKey: k})
	if err != nil {
		r.t.Fatal(err)
	}
	return got
}

// opens reports whether a token may read a trainee of its tenant.
func (r *running) opens(token string) bool {
	r.t.Helper()
	_, err := r.trainees().GetTrainee(r.as(token), &pb.GetTraineeRequest{Name: "trainees/t1"})
	if err != nil && status.Code(err) != codes.Unauthenticated {
		r.t.Fatal(err)
	}
	return err == nil
}

// TestAdmin_LifeOfAKey: made, used, rotated with an overlap and without, revoked.
func TestAdmin_LifeOfAKey(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	first := r.makeKey(&pb.ApiKey{DisplayName: "tablet", Scopes: []pb.Scope{pb.Scope_SCOPE_RECOMMENDATION_READ, pb.Scope_SCOPE_LOG_READ}})
	if !r.opens(first.GetToken()) {
		t.Fatal("a new key does not open")
	}
	rotate := func(name string, hours int32) *pb.IssuedApiKey {
		t.Helper()
		got, err := r.admins().RotateApiKey(r.ctx(), &pb.RotateApiKeyRequest{Name: name, OverlapHours: &hours})
		if err != nil {
			t.Fatal(err)
		}
		k, old := got.GetApiKey(), first.GetApiKey()
		if k.GetDisplayName() != "tablet" || !slices.Equal(k.GetScopes(), old.GetScopes()) || k.GetName() == name || k.GetExpireTime() != nil {
			t.Errorf("successor %v", k)
		}
		return got
	}
	second := rotate(first.GetApiKey().GetName(), 2)
	if !r.opens(first.GetToken()) || !r.opens(second.GetToken()) {
		t.Error("in the overlap not both keys open")
	}
	third := rotate(second.GetApiKey().GetName(), 0)
	if r.opens(second.GetToken()) || !r.opens(third.GetToken()) {
		t.Error("without an overlap the old key opens still, or the new one does not")
	}
	revoked, err := r.admins().RevokeApiKey(r.ctx(), &pb.RevokeApiKeyRequest{Name: third.GetApiKey().GetName()})
	if err != nil || revoked.GetRevokeTime() == nil || r.opens(third.GetToken()) {
		t.Errorf("revoked %v, %v", revoked, err)
	}
	list, err := r.admins().ListApiKeys(r.ctx(), &pb.ListApiKeysRequest{})
	if err != nil || len(list.GetApiKeys()) != 4 {
		t.Fatalf("keys %v, %v", list, err)
	}
	for _, k := range list.GetApiKeys() {
		if k.GetName() == first.GetApiKey().GetName() {
			if left := time.Until(k.GetExpireTime().AsTime()); left < 110*time.Minute || left > 2*time.Hour {
				t.Errorf("the first key ends in %v", left)
			}
		}
	}
	if text := list.String() + r.log.String(); strings.Contains(text, strings.Split(first.GetToken(), "_")[2]) {
		t.Error("the secret shows")
	}
}

// TestAdmin_RequestIDMakesOneKey: of each kind, whatever the second request asks for.
func TestAdmin_RequestIDMakesOneKey(t *testing.T) {
	r := start(t)
	const id = "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	create := &pb.CreateApiKeyRequest{RequestId: id, ApiKey: &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_READ}}}
	made, err := r.admins().CreateApiKey(r.ctx(), create)
	if err != nil {
		t.Fatal(err)
	}
	zero := int32(0)
	rotate := &pb.RotateApiKeyRequest{RequestId: id, Name: made.GetApiKey().GetName(), OverlapHours: &zero}
	if _, err := r.admins().RotateApiKey(r.ctx(), rotate); err != nil {
		t.Fatal(err)
	}
	if _, err := r.admins().CreateApiKey(r.ctx(), create); status.Code(err) != codes.AlreadyExists {
		t.Errorf("made again: %v", err)
	}
	if _, err := r.admins().RotateApiKey(r.ctx(), rotate); status.Code(err) != codes.AlreadyExists {
		t.Errorf("rotated again: %v", err)
	}
	other := r.withToken(r.key("tenant-b", access.AdminScope))
	if _, err := other.admins().CreateApiKey(other.ctx(), create); err != nil {
		t.Errorf("another tenant's same request id: %v", err)
	}
	got := r.httpTo(r.app.AdminAddress(), r.token, "POST", "/v1/apiKeys", `{"scopes":["SCOPE_LOG_READ"]}`, "Idempotency-Key", id)
	if got.status != http.StatusConflict {
		t.Errorf("by the header: %d %s", got.status, got.body)
	}
}

// TestAdmin_BoundKeyGoesWithItsTrainee: an erasure ends it at once.
func TestAdmin_BoundKeyGoesWithItsTrainee(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	bound := r.makeKey(&pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_RECOMMENDATION_READ, pb.Scope_SCOPE_LOG_READ}, Trainee: "trainees/t1"})
	if bound.GetApiKey().GetTrainee() != "trainees/t1" || !r.opens(bound.GetToken()) {
		t.Fatalf("%v", bound.GetApiKey())
	}
	if _, err := r.trainees().EraseTrainee(r.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}); err != nil {
		t.Fatal(err)
	}
	r.trainee("t1")
	if r.opens(bound.GetToken()) {
		t.Error("it opens the next trainee of that id")
	}
}

// TestAdmin_LastUseIsNoted: at the latest when the service stops.
func TestAdmin_LastUseIsNoted(t *testing.T) {
	dir := t.TempDir()
	cfg := service.Config{GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0", DataDir: dir}
	var used, unused string
	t.Run("serving", func(t *testing.T) {
		r := startWith(t, func(c *service.Config) { *c = cfg })
		r.trainee("t1")
		used, _, _ = strings.Cut(strings.TrimPrefix(r.token, access.Prefix+"_"), "_")
		other := r.makeKey(&pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_READ}})
		unused = convert.KeyFrom(other.GetApiKey().GetName())
	})
	keys, err := service.OpenKeyring(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer keys.Close()
	list, err := keys.List(t.Context(), "tenant-a")
	if err != nil || len(list) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	for _, k := range list {
		switch k.ID {
		case used:
			if ago := time.Since(k.Used); ago < 0 || ago > 10*time.Minute || k.Used.Second() != 0 {
				t.Errorf("used %v", k.Used)
			}
		case unused:
			if !k.Used.IsZero() {
				t.Errorf("used %v", k.Used)
			}
		}
	}
}
