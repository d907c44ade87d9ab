package service_test

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
)

// TestAtLeastRevision: a read with the revision of a write's answer sees that
// write, by each method that takes one, and a plan that was opened since.
func TestAtLeastRevision(t *testing.T) {
	dir := t.TempDir()
	over := func(c *service.Config) { c.DataDir = dir }
	// What the other one writes has nothing loaded ahead here.
	r, elsewhere := startWith(t, over), startWith(t, over)
	must := func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	ask := func(token string) *pb.StrengthTrend {
		t.Helper()
		got, err := r.trends().GetStrengthTrend(r.ctx(), &pb.GetStrengthTrendRequest{Name: "trainees/t1/strengthTrend", AsOfDate: day(3), AtLeastRevision: token})
		must(got, err)
		return got
	}
	r.trainee("t1")
	old := ask("").GetRevision()
	if got := ask(old); got.GetRevision() != old || got.GetSource() != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
		t.Errorf("%v from %v, want %v from a snapshot", got.GetRevision(), got.GetSource(), old)
	}
	must(elsewhere.phases().CreatePlan(elsewhere.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}))
	if got := ask(old).GetRevision(); got != old {
		t.Errorf("what is in hand is %v, and the store was asked: %v", old, got)
	}
	// Of what is in hand there is no such plan.
	rec, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(3), AtLeastRevision: old})
	must(rec, err)
	token := rec.GetRevision()
	if token == old || ask(token).GetRevision() != token || ask(old).GetRevision() != token {
		t.Errorf("after %v: %v, %v", token, ask(token).GetRevision(), ask(old).GetRevision())
	}
	written, err := elsewhere.logbook().CreateEntry(elsewhere.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(2, 90)})
	must(written, err)
	balance, err := r.trends().GetEnergyBalance(r.ctx(), &pb.GetEnergyBalanceRequest{Name: "trainees/t1/energyBalance", AsOfDate: day(3), AtLeastRevision: token})
	must(balance, err)
	if balance.GetRevision() != token {
		t.Errorf("%v is in hand, and the store was asked: %v", token, balance.GetRevision())
	}
	latest, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", EndDate: day(3)})
	must(latest, err)
	ahead, err := r.phases().Forecast(r.ctx(), &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(3), AtLeastRevision: latest.GetRevision()})
	must(ahead, err)
	if latest.GetRevision() == token || ahead.GetRevision() != latest.GetRevision() {
		t.Errorf("after a write: %v, then with that in hand %v", latest.GetRevision(), ahead.GetRevision())
	}
	if _, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/nope", AtLeastRevision: token}); status.Code(err) != codes.NotFound {
		t.Errorf("a plan that there is not: %v", err)
	}
	must(r.trainees().EraseTrainee(r.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}))
	if _, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AtLeastRevision: latest.GetRevision()}); status.Code(err) != codes.NotFound {
		t.Errorf("after the erasure: %v", err)
	}
}
