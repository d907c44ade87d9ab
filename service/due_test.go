package service_test

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
)

// due lists as the front desk does, all pages in one.
func (r *running) due(asOf *date.Date, reasons ...pb.DueReason) []*pb.DueReview {
	r.t.Helper()
	var out []*pb.DueReview
	req := &pb.ListDueReviewsRequest{AsOfDate: asOf, Reasons: reasons}
	for range 100 {
		page, err := r.phases().ListDueReviews(r.ctx(), req)
		if err != nil {
			r.t.Fatal(err)
		}
		if len(page.GetCautions()) == 0 {
			r.t.Error("a list without cautions")
		}
		out = append(out, page.GetDueReviews()...)
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			return out
		}
	}
	r.t.Fatal("the pages do not end")
	return nil
}

// dueText is a list in one line: offset of the day, trainee, reason.
func dueText(list []*pb.DueReview) string {
	first, _ := convert.DayFromProto(day(0), "")
	var out []string
	for _, d := range list {
		on, _ := convert.DayFromProto(d.GetDueDate(), "")
		out = append(out, fmt.Sprintf("%d %s %s", on-first, convert.TraineeFrom(d.GetPlan()), strings.TrimPrefix(d.GetReason().String(), "DUE_REASON_")))
	}
	return strings.Join(out, ", ")
}

func (r *running) plan(trainee string, start int) {
	r.t.Helper()
	_, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/" + trainee, PlanId: "cut", Plan: &pb.Plan{StartDate: day(start)}})
	if err != nil {
		r.t.Fatal(err)
	}
}

func (r *running) put(trainee string, entries ...*pb.Entry) {
	r.t.Helper()
	_, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/" + trainee, Entries: entries})
	if err != nil {
		r.t.Fatal(err)
	}
}

func wantDue(t *testing.T, what string, got []*pb.DueReview, want string) {
	t.Helper()
	if text := dueText(got); text != want {
		t.Errorf("%s: %q, want %q", what, text, want)
	}
}

// A trainee logs until the review is due and is listed; with the decision the
// review is gone until the next one; then the log falls silent.
func TestDue_FromReviewToDecisionToSilence(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	wantDue(t, "without a plan", r.due(day(300)), "")
	r.plan("t1", 0)
	wantDue(t, "on the first day", r.due(day(0)), "")
	for i := range 10 {
		r.put("t1", weighIn(i, 92+0.2*float64(i%2)), intake(i, 2700))
	}
	wantDue(t, "the day before", r.due(day(9)), "")
	got := r.due(day(10))
	wantDue(t, "at the end of the test", got, "10 t1 REVIEW")
	if got[0].GetPlan() != "trainees/t1/plans/cut" || got[0].GetLine() == "" {
		t.Errorf("%v", got[0])
	}
	_, err := r.phases().CreateDecision(r.ctx(), &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
		FromDate: day(10), Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: 2350}, DecidedBy: "coach",
	}})
	if err != nil {
		t.Fatal(err)
	}
	r.put("t1", weighIn(10, 92))
	wantDue(t, "decided", r.due(day(13)), "")
	wantDue(t, "four days of silence", r.due(day(14)), "14 t1 STOPPED_LOGGING")
	wantDue(t, "the first review of the cut", r.due(day(20)), "14 t1 STOPPED_LOGGING, 20 t1 REVIEW")
	wantDue(t, "reviews only", r.due(day(20), pb.DueReason_DUE_REASON_REVIEW), "20 t1 REVIEW")
	r.put("t1", weighIn(20, 91))
	wantDue(t, "logging again", r.due(day(20)), "20 t1 REVIEW")
	_, err = r.phases().UpdatePlan(r.ctx(), &pb.UpdatePlanRequest{
		Plan: &pb.Plan{Name: "trainees/t1/plans/cut", State: pb.PlanState_PLAN_STATE_CLOSED}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	wantDue(t, "closed", r.due(day(300)), "")
}

// Fainting is a caution from its day on, for four weeks; it names no sign and
// defers to licensed practice. A profile with a condition is one too, and goes
// with it. All ways of writing count: one entry, many, a stream.
func TestDue_Cautions(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	r.plan("t1", 0)
	fainting := &pb.Entry{Date: day(5), Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_FAINTING}}}
	made, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: fainting})
	if err != nil {
		t.Fatal(err)
	}
	caution := pb.DueReason_DUE_REASON_CAUTION
	got := r.due(day(6), caution)
	wantDue(t, "after fainting", got, "5 t1 CAUTION")
	if line := got[0].GetLine(); !strings.Contains(line, "licensed practice") || strings.Contains(strings.ToLower(line), "faint") {
		t.Errorf("line %q", line)
	}
	wantDue(t, "the day before", r.due(day(4), caution), "")
	wantDue(t, "on the last day", r.due(day(32), caution), "5 t1 CAUTION")
	wantDue(t, "a day later", r.due(day(33), caution), "")
	if _, err := r.logbook().DeleteEntry(r.ctx(), &pb.DeleteEntryRequest{Name: made.GetName()}); err != nil {
		t.Fatal(err)
	}
	wantDue(t, "deleted", r.due(day(6), caution), "")

	stream, err := r.logbook().BackfillEntries(r.ctx())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []*pb.BackfillEntriesRequest{
		{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
			Parent: "trainees/t1", UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64),
		}}},
		{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: []*pb.Entry{fainting, weighIn(8, 90)}}}},
	} {
		if err := stream.Send(m); err != nil {
			t.Fatal(err)
		}
		if _, err := stream.Recv(); err != nil {
			t.Fatal(err)
		}
	}
	if err := stream.CloseSend(); err != nil {
		t.Fatal(err)
	}
	wantDue(t, "backfilled", r.due(day(8), caution), "5 t1 CAUTION")

	condition := &pb.Trainee{Name: "trainees/t1", Conditions: []pb.HealthCondition{pb.HealthCondition_HEALTH_CONDITION_HEART_DISEASE}}
	if _, err := r.trainees().UpdateTrainee(r.ctx(), &pb.UpdateTraineeRequest{Trainee: condition, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"conditions"}}}); err != nil {
		t.Fatal(err)
	}
	wantDue(t, "with a condition", r.due(day(8), caution), "0 t1 CAUTION, 5 t1 CAUTION")
	for _, d := range r.due(day(8), caution) {
		if strings.Contains(strings.ToLower(d.GetLine()), "heart") {
			t.Errorf("line %q", d.GetLine())
		}
	}
	if _, err := r.trainees().EraseTrainee(r.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}); err != nil {
		t.Fatal(err)
	}
	wantDue(t, "erased", r.due(day(300)), "")
}

// A milestone is told for seven days.
func TestDue_Milestone(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	r.plan("t1", 0)
	for i := range 20 {
		kg := 100.0
		if i >= 10 {
			kg = 97.4
		}
		r.put("t1", weighIn(i, kg))
	}
	milestone := pb.DueReason_DUE_REASON_MILESTONE
	wantDue(t, "after the last day", r.due(day(18), milestone), "")
	r.put("t1", weighIn(20, 94.9), weighIn(21, 94.9))
	got := r.due(day(27), milestone)
	wantDue(t, "on the last day", got, "21 t1 MILESTONE")
	if !strings.HasPrefix(got[0].GetLine(), "5 % ") {
		t.Errorf("line %q", got[0].GetLine())
	}
	wantDue(t, "a day later", r.due(day(28), milestone), "")
}

// Another tenant sees nothing, with the same ids of its own or without; a key
// without the scope is refused.
func TestDue_OfOneTenant(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	r.plan("t1", 0)
	mine := r.token
	r.token = r.key("tenant-b", access.ScopeNames()...)
	wantDue(t, "of another tenant", r.due(day(300)), "")
	r.trainee("t1")
	r.plan("t1", 100)
	wantDue(t, "of another tenant's own", r.due(day(300)), "104 t1 STOPPED_LOGGING, 110 t1 REVIEW")
	r.token = mine
	wantDue(t, "of this tenant", r.due(day(300)), "4 t1 STOPPED_LOGGING, 10 t1 REVIEW")

	_, err := r.phases().ListDueReviews(r.as(r.key("tenant-a", "log.write")), &pb.ListDueReviewsRequest{})
	if status.Code(err) != codes.PermissionDenied {
		t.Errorf("without the scope: %v", err)
	}
}

// Pages add up to the list, in order of day, then trainee, then reason; a token
// belongs to its arguments, and both ways of asking give the same.
func TestDue_Pages(t *testing.T) {
	r := start(t)
	for i, id := range []string{"c", "a", "b", "d", "e"} {
		r.trainee(id)
		r.plan(id, 6*(i%2))
	}
	all := r.due(day(40))
	wantDue(t, "all", all, "4 b STOPPED_LOGGING, 4 c STOPPED_LOGGING, 4 e STOPPED_LOGGING, "+
		"10 a STOPPED_LOGGING, 10 b REVIEW, 10 c REVIEW, 10 d STOPPED_LOGGING, 10 e REVIEW, 16 a REVIEW, 16 d REVIEW")
	for size := 1; size <= len(all); size++ {
		var got []*pb.DueReview
		token, pages := "", 0
		for ok := true; ok; ok = token != "" {
			req := &pb.ListDueReviewsRequest{AsOfDate: day(40), PageSize: int32(size), PageToken: token}
			page, err := r.phases().ListDueReviews(r.ctx(), req)
			if err != nil {
				t.Fatal(err)
			}
			path := fmt.Sprintf("/v1/dueReviews?asOfDate=2025-04-12&pageSize=%d&pageToken=%s", size, token)
			byJSON := &pb.ListDueReviewsResponse{}
			if err := protojson.Unmarshal(r.http(r.token, "GET", path, "").body, byJSON); err != nil || !proto.Equal(page, byJSON) {
				t.Fatalf("%v: gRPC %v\nJSON %v", err, page, byJSON)
			}
			got = append(got, page.GetDueReviews()...)
			token = page.GetNextPageToken()
			if pages++; pages > len(all) {
				t.Fatal("the pages do not end")
			}
		}
		if dueText(got) != dueText(all) || pages != (len(all)+size-1)/size {
			t.Errorf("%d pages of %d: %s", pages, size, dueText(got))
		}
	}
	page, err := r.phases().ListDueReviews(r.ctx(), &pb.ListDueReviewsRequest{AsOfDate: day(40), PageSize: 2})
	if err != nil {
		t.Fatal(err)
	}
	for what, req := range map[string]*pb.ListDueReviewsRequest{
		"another day":     {AsOfDate: day(41), PageToken: page.GetNextPageToken()},
		"another reason":  {AsOfDate: day(40), PageToken: page.GetNextPageToken(), Reasons: []pb.DueReason{pb.DueReason_DUE_REASON_REVIEW}},
		"a reason not of": {AsOfDate: day(40), Reasons: []pb.DueReason{99}},
		"no reason":       {AsOfDate: day(40), Reasons: []pb.DueReason{0}},
		"no token":        {AsOfDate: day(40), PageToken: "x"},
		"a negative page": {AsOfDate: day(40), PageSize: -1},
	} {
		if _, err := r.phases().ListDueReviews(r.ctx(), req); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// Without a day, today in UTC is meant.
func TestDue_Today(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	today, err := convert.Today(timeNow(), "UTC")
	if err != nil {
		t.Fatal(err)
	}
	_, err = r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: convert.DayToProto(today - 6)}})
	if err != nil {
		t.Fatal(err)
	}
	for what, asOf := range map[string]*date.Date{"today": nil, "this day": convert.DayToProto(today)} {
		got := r.due(asOf)
		if len(got) != 1 || got[0].GetReason() != pb.DueReason_DUE_REASON_STOPPED_LOGGING {
			t.Errorf("%s: %v", what, got)
		}
	}
	if got := r.due(convert.DayToProto(today - 3)); len(got) != 0 {
		t.Errorf("before it was due: %v", got)
	}
}
