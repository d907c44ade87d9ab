package service_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
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

// records is the audit trail of the test's tenant.
func (r *running) records(trainee string) []*pb.AuditRecord {
	r.t.Helper()
	got, err := r.admins().ListAuditRecords(r.ctx(), &pb.ListAuditRecordsRequest{Trainee: trainee, PageSize: 1000})
	if err != nil {
		r.t.Fatal(err)
	}
	return got.GetAuditRecords()
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

// TestAdmin_Trail: every act that is to be on the trail is, by whom it was done, and
// the receipts of an export and of an erasure are those of their records. Of the
// erased nothing is left but a name that only the operator can recompute.
func TestAdmin_Trail(t *testing.T) {
	r := startWith(t, samePepper)
	key, _, _ := strings.Cut(strings.TrimPrefix(r.token, access.Prefix+"_"), "_")
	var receipt string
	for _, s := range story() {
		m := methods()[s.method]
		switch s.method {
		case pb.TraineeService_EraseTrainee_FullMethodName:
			if s.note != "there" {
				continue
			}
			checkTrail(t, r.records("trainees/t1"), "apiKeys/"+key)
			got := r.callGRPC(t, m, s)
			receipt = textOf(got.answers[0], "receipt")
		case pb.TraineeService_ExportTrainee_FullMethodName:
			got := r.callGRPC(t, m, s)
			if s.note != "there" {
				continue
			}
			last := &pb.ExportTraineeResponse{}
			b, err := proto.Marshal(got.answers[len(got.answers)-1])
			if err != nil || proto.Unmarshal(b, last) != nil {
				t.Fatal(err)
			}
			if records := r.records("trainees/t1"); records[0].GetId() != last.GetManifest().GetReceipt() || records[0].GetMethod() != "ExportTrainee" {
				t.Errorf("receipt %q of %v", last.GetManifest().GetReceipt(), records[0])
			}
		default:
			r.callGRPC(t, m, s)
		}
	}
	names, err := trail.NewNames([]byte("parity"))
	if err != nil {
		t.Fatal(err)
	}
	records := r.records("")
	if records[0].GetId() != receipt || records[0].GetMethod() != "EraseTrainee" || records[0].GetActor() != "apiKeys/"+key ||
		records[0].GetResource() != names.Erased(store.Scope{Tenant: "tenant-a", Trainee: "t1"}) {
		t.Errorf("receipt %q of %v", receipt, records[0])
	}
	for _, rec := range records {
		if strings.Contains(rec.String(), "t1") && !strings.Contains(rec.GetId(), "t1") {
			t.Errorf("%v names the erased", rec)
		}
	}
	if got := r.records("trainees/t1"); len(got) != 0 {
		t.Errorf("about the erased: %v", got)
	}
}

// checkTrail looks for one record of each success of the story.
func checkTrail(t *testing.T, records []*pb.AuditRecord, actor string) {
	t.Helper()
	got := map[string]int{}
	for i, rec := range records {
		got[rec.GetMethod()+" "+rec.GetResource()]++
		if rec.GetActor() != actor || (i > 0 && rec.GetId() >= records[i-1].GetId()) {
			t.Errorf("%v after %v", rec, records[max(0, i-1)])
		}
	}
	key := requestedKey("CreateApiKey", "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10")
	for what, n := range map[string]int{
		"CreateTrainee trainees/t1": 1, "UpdateTrainee trainees/t1": 1, "CreatePlan trainees/t1/plans/cut": 1, "UpdatePlan trainees/t1/plans/cut": 4,
		"CreateDecision trainees/t1/plans/cut/decisions/d1": 1, "CreateDecision trainees/t1/plans/cut/decisions/d2": 1, "ExportTrainee trainees/t1": 1,
		"CreateApiKey " + key: 1, "RotateApiKey " + key: 1, "RevokeApiKey " + key: 1,
	} {
		if got[what] != n {
			t.Errorf("%d records of %s, want %d", got[what], what, n)
		}
		delete(got, what)
	}
	if len(got) != 0 {
		t.Errorf("records of %v", got)
	}
}

// textOf is a text field of an answer.
func textOf(m proto.Message, name string) string {
	r := m.ProtoReflect()
	return r.Get(r.Descriptor().Fields().ByTextName(name)).String()
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
