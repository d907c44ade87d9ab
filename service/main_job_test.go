package service_test

import (
	"strings"
	"testing"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestMainJob: a log goes in, the weekly recommendation comes out with its
// reasons and cautions, by both ways in.
func TestMainJob(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "p1", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
		t.Fatal(err)
	}
	batch := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
	for i := range 11 {
		batch.Entries = append(batch.Entries, weighIn(i, 90+0.2*float64(i%3)), intake(i, 2700))
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
		t.Fatal(err)
	}
	rec, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/p1", AsOfDate: day(10)})
	if err != nil {
		t.Fatal(err)
	}
	if rec.GetAction() != pb.Action_ACTION_START_DEFICIT || rec.GetProposedTarget().GetIntakeKcal() >= 2700 || rec.GetProposedTarget().GetIntakeKcal() < 1900 {
		t.Errorf("after a steady test: %v to %v", rec.GetAction(), rec.GetProposedTarget())
	}
	if len(rec.GetCautions()) == 0 || rec.GetHeadline() == "" || rec.GetRevision() == "" {
		t.Errorf("headline %q, revision %q, cautions %v", rec.GetHeadline(), rec.GetRevision(), rec.GetCautions())
	}
	got := r.http(r.token, "GET", "/v1/trainees/t1/plans/p1:recommend?asOfDate=2025-03-13", "")
	if got.status != 200 || got.json(t)["action"] != "ACTION_START_DEFICIT" || got.json(t)["headline"] != rec.GetHeadline() {
		t.Errorf("JSON: %d %s", got.status, got.body)
	}
	if got.header.Get("Steelyard-Revision") != rec.GetRevision() {
		t.Errorf("revision header %q, want %q", got.header.Get("Steelyard-Revision"), rec.GetRevision())
	}
	if strings.Contains(r.log.String(), "t1") || strings.Contains(r.log.String(), "90.2") {
		t.Errorf("the log names the trainee or a value:\n%s", r.log)
	}
}
