package service_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// records is the audit trail of the test's tenant.
func (r *running) records(trainee string) []*pb.AuditRecord {
	r.t.Helper()
	got, err := r.admins().ListAuditRecords(r.ctx(), &pb.ListAuditRecordsRequest{Trainee: trainee, PageSize: 1000})
	if err != nil {
		r.t.Fatal(err)
	}
	return got.GetAuditRecords()
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
