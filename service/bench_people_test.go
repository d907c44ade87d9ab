//go:build unix

package service

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

const (
	benchCallers = 64 // the most at once; each has a trainee of its own
	benchDays    = 90
)

// benchDay is so many days after the first of every invented log.
func benchDay(offset int) *date.Date {
	first, _ := engine.DayOf(2025, 3, 3)
	return convert.DayToProto(first + engine.Day(offset))
}

func benchTrainee(n int) string { return fmt.Sprintf("trainees/t%d", n) }

func weighs(offset int, kg float64) *pb.Entry {
	return &pb.Entry{Date: benchDay(offset), Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{
		Weight: &pb.Mass{Value: math.Round(kg*10) / 10, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}}}
}

// logOf invents a log with four entries a day: weight, intake, steps, and one of
// three lifts or a check-in. After a test at maintenance the weight falls. It is the same
// for the same seed.
func logOf(seed uint64, first, days int) []*pb.Entry {
	r := rand.New(rand.NewPCG(seed, 11))
	var out []*pb.Entry
	for i := range days {
		lost := 0.085 * float64(min(max(i-10, 0), 150))
		kcal := 2700.0
		if i >= 11 {
			kcal = 2100
		}
		d := benchDay(first + i)
		out = append(out,
			weighs(first+i, 88-lost+0.35*r.NormFloat64()),
			&pb.Entry{Date: d, Fact: &pb.Entry_Intake{Intake: &pb.Intake{
				Energy: &pb.Energy{Value: math.Round(kcal * (1 + 0.06*r.NormFloat64())), Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}, ProteinG: proto.Float64(150)}}},
			&pb.Entry{Date: d, Fact: &pb.Entry_Activity{Activity: &pb.Activity{Steps: proto.Int32(8000 + r.Int32N(3000))}}})
		if i%7 == 6 {
			out = append(out, &pb.Entry{Date: d, Fact: &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{
				HungerEase: proto.Int32(3), Energy: proto.Int32(4), Sleep: proto.Int32(4), TrainingDrive: proto.Int32(4)}}})
		} else {
			lift := [...]string{"back-squat", "press", "row"}[i%3]
			out = append(out, &pb.Entry{Date: d, Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
				Lift: lift, Load: &pb.Mass{Value: 100, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 4 + r.Int32N(3)}}})
		}
	}
	return out
}

// people creates the trainees with a plan and a log.
func (c *benchClient) people(b *testing.B) {
	b.Helper()
	for n := range benchCallers {
		c.person(b, n)
	}
}

// person creates a trainee, and follows each weekly recommendation but the last.
func (c *benchClient) person(b *testing.B, n int) {
	b.Helper()
	log, phases := pb.NewLogbookServiceClient(c.conn), pb.NewPhaseServiceClient(c.conn)
	must := func(err error) {
		if err != nil {
			b.Helper()
			b.Fatal(err)
		}
	}
	name := benchTrainee(n)
	c.trainee(b, name)
	_, err := phases.CreatePlan(c.ctx, &pb.CreatePlanRequest{Parent: name, PlanId: "p", Plan: &pb.Plan{StartDate: benchDay(0)}})
	must(err)
	_, err = log.BatchCreateEntries(c.ctx, &pb.BatchCreateEntriesRequest{Parent: name, Entries: logOf(uint64(n), 0, benchDays)})
	must(err)
	for d := 10; d < benchDays-3; d++ {
		r, err := phases.Recommend(c.ctx, &pb.RecommendRequest{Name: name + "/plans/p", AsOfDate: benchDay(d)})
		must(err)
		if !r.GetIsReviewDue() || r.GetProposedTarget() == nil {
			continue
		}
		_, err = phases.CreateDecision(c.ctx, &pb.CreateDecisionRequest{Parent: name + "/plans/p", Decision: &pb.Decision{
			FromDate: benchDay(d), Action: r.GetAction(), Target: r.GetProposedTarget(), AnswersRecommendation: true}})
		must(err)
	}
}

func (c *benchClient) trainee(b *testing.B, name string) {
	b.Helper()
	_, err := pb.NewTraineeServiceClient(c.conn).CreateTrainee(c.ctx, &pb.CreateTraineeRequest{TraineeId: name[len("trainees/"):], Trainee: &pb.Trainee{
		Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4}, HeightCm: proto.Float64(180),
		ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_LOW_ACTIVE,
	}})
	if err != nil {
		b.Fatal(err)
	}
}

// ask is the request of a caller's recommendation, on the log's last morning.
func ask(caller int) *pb.RecommendRequest {
	return &pb.RecommendRequest{Name: benchTrainee(caller) + "/plans/p", AsOfDate: benchDay(benchDays - 1)}
}

// recommends asks for a recommendation and refuses one whose window came from elsewhere.
func (c *benchClient) recommends(req *pb.RecommendRequest, from pb.WindowSource) (time.Duration, error) {
	began := time.Now()
	r, err := pb.NewPhaseServiceClient(c.conn).Recommend(c.ctx, req)
	took := time.Since(began)
	if err == nil && r.GetSource() != from {
		err = fmt.Errorf("the window of %s came from %v, want %v", req.GetName(), r.GetSource(), from)
	}
	return took, err
}

// logs writes an entry that changes the log's last morning.
func (c *benchClient) logs(caller, n int) error {
	_, err := pb.NewLogbookServiceClient(c.conn).CreateEntry(c.ctx, &pb.CreateEntryRequest{
		Parent: benchTrainee(caller), Entry: weighs(benchDays-1, 81+float64(n%8)/10)})
	return err
}
