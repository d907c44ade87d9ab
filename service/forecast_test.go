package service_test

import (
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// forecast asks both ways in and checks that they agree.
func (r *running) forecast(t *testing.T, trainee string, asOf int) *pb.ForecastResponse {
	t.Helper()
	name := "trainees/" + trainee + "/plans/cut"
	out, err := r.phases().Forecast(r.ctx(), &pb.ForecastRequest{Name: name, AsOfDate: day(asOf)})
	if err != nil {
		t.Fatal(err)
	}
	got, byJSON := r.http(r.token, "GET", "/v1/"+name+":forecast?asOfDate="+iso(asOf), ""), &pb.ForecastResponse{}
	err = protojson.Unmarshal(got.body, byJSON)
	if byJSON.GetSource() != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT || out.GetSource() == 0 { // asked a second time
		t.Errorf("from %v, then %v", out.GetSource(), byJSON.GetSource())
	}
	byJSON.Source = out.GetSource()
	if err != nil || !proto.Equal(out, byJSON) {
		t.Errorf("gRPC and JSON differ (%v)\n%v\n%s", err, out, got.body)
	}
	if !proto.Equal(out.GetAsOfDate(), day(asOf)) || out.GetRevision() == "" || len(out.GetCautions()) == 0 {
		t.Errorf("of %v at %q with %d cautions", out.GetAsOfDate(), out.GetRevision(), len(out.GetCautions()))
	}
	if (len(out.GetOutlooks()) == 0) != (out.GetWhyAbsent() != "") {
		t.Errorf("%d outlooks, and why there are none: %q", len(out.GetOutlooks()), out.GetWhyAbsent())
	}
	return out
}

// change updates fields of a plan called cut.
func (r *running) change(t *testing.T, trainee string, p *pb.Plan, fields ...string) *pb.Plan {
	t.Helper()
	p.Name = "trainees/" + trainee + "/plans/cut"
	out, err := r.phases().UpdatePlan(r.ctx(), &pb.UpdatePlanRequest{Plan: p, UpdateMask: &fieldmaskpb.FieldMask{Paths: fields}})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestForecast: a range of days at each of three paces, the slower the later;
// the range is in order and lies after the day; and targets that keep to the
// plan's weekend.
func TestForecast(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	if none := r.forecast(t, "t1", 20); none.Goal != nil || len(none.GetOutlooks()) != 0 {
		t.Errorf("without a goal: %v", none)
	}
	r.change(t, "t1", &pb.Plan{GoalWeightKg: proto.Float64(82), WeekendExtraKcal: proto.Float64(140)}, "goal_weight_kg", "weekend_extra_kcal")
	got := r.forecast(t, "t1", 20)
	if g := got.GetGoal(); g.GetWeightKg() != 82 || g.WeightSdKg == nil || g.GetWeightSdKg() != 0 || g.BodyFatPct != nil || g.GetSentence() == "" {
		t.Errorf("goal %v", g)
	}
	plan := r.planOf(t, "t1")
	if len(got.GetOutlooks()) != 3 {
		t.Fatalf("%v", got)
	}
	at := func(d *date.Date) engine.Day {
		out, err := convert.DayFromProto(d, "day")
		if err != nil {
			t.Fatalf("%v in %v", err, got)
		}
		return out
	}
	var slower *pb.Outlook
	for i, want := range []struct {
		pace pb.ForecastPace
		pct  float64
	}{
		{pb.ForecastPace_FORECAST_PACE_GENTLE, plan.GetBandLowPctPerWeek()}, {pb.ForecastPace_FORECAST_PACE_STANDARD, plan.GetPacePctPerWeek()},
		{pb.ForecastPace_FORECAST_PACE_BRISK, plan.GetBandHighPctPerWeek()},
	} {
		o := got.GetOutlooks()[i]
		if o.GetPace() != want.pace || o.GetPacePctPerWeek() != want.pct {
			t.Errorf("outlook %d is %v at %v", i, o.GetPace(), o.GetPacePctPerWeek())
		}
		early, median, late := at(o.GetEarliestDate()), at(o.GetMedianDate()), at(o.GetLatestDate())
		if !(number(20) < early && early <= median && median <= late) {
			t.Errorf("%v: %s, %s, %s", o.GetPace(), early, median, late)
		}
		if slower != nil && (at(slower.GetMedianDate()) < median || slower.GetTargetNow().GetIntakeKcal() < o.GetTargetNow().GetIntakeKcal()) {
			t.Errorf("%v is not slower than %v", slower, o)
		}
		for _, target := range []*pb.Target{o.GetTargetNow(), o.GetTargetAtGoal()} {
			if target.GetWeekdayIntakeKcal() != target.GetIntakeKcal()-56 || target.GetWeekendIntakeKcal() != target.GetIntakeKcal()+140 {
				t.Errorf("%v: %v", o.GetPace(), target)
			}
		}
		slower = o
	}
	// Of a day before, it knows nothing of what came after.
	if early := r.forecast(t, "t1", 12); proto.Equal(early.GetOutlooks()[0], got.GetOutlooks()[0]) {
		t.Errorf("on day 12 as on day 20: %v", early.GetOutlooks()[0])
	}
}

// TestForecast_GoalByBodyFat: the weight of the goal comes from a measurement,
// with its error.
func TestForecast_GoalByBodyFat(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	r.change(t, "t1", &pb.Plan{GoalBodyFatPct: proto.Float64(18)}, "goal_body_fat_pct")
	if unmeasured := r.forecast(t, "t1", 20); unmeasured.GetGoal() == nil || unmeasured.GetGoal().WeightKg != nil || unmeasured.GetGoal().GetSentence() == "" {
		t.Errorf("without a measurement: %v", unmeasured)
	}
	if _, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{
		Date: day(15), Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{BodyFatPct: 24, Method: pb.BodyFatMethod_BODY_FAT_METHOD_DXA}},
	}}); err != nil {
		t.Fatal(err)
	}
	got := r.forecast(t, "t1", 20)
	// 88 kg at 24 % are 21.1 kg of fat. Losing fat and nothing else they are at 18 %
	// with 81.6 kg; with 45 % of lean tissue among the loss with 73.8 kg.
	g := got.GetGoal()
	if kg := g.GetWeightKg(); kg < 73.8 || kg > 81.6 || g.GetWeightSdKg() <= 0 || !proto.Equal(g.GetMeasuredDate(), day(15)) || g.GetBodyFatPct() < 23 || g.GetBodyFatPct() > 25 || g.GetBodyFatSePct() <= 0 {
		t.Errorf("goal %v", g)
	}
	if len(got.GetOutlooks()) != 3 || got.GetOutlooks()[0].LeanSharePct == nil {
		t.Errorf("outlooks %v", got)
	}
}

// TestForecast_Refused: a plan that is not open has none, nor has one that is not there.
func TestForecast_Refused(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	r.change(t, "t1", &pb.Plan{State: pb.PlanState_PLAN_STATE_CLOSED}, "state")
	for _, c := range []struct {
		name   string
		code   codes.Code
		reason string
	}{
		{"trainees/t1/plans/cut", codes.FailedPrecondition, "PLAN_CLOSED"},
		{"trainees/t1/plans/nope", codes.NotFound, "NOT_FOUND"},
		{"trainees/nobody/plans/cut", codes.NotFound, "NOT_FOUND"},
	} {
		_, err := r.phases().Forecast(r.ctx(), &pb.ForecastRequest{Name: c.name})
		if s := status.Convert(err); s.Code() != c.code || reasonOf(s) != c.reason {
			t.Errorf("%s: %v %s", c.name, s, reasonOf(s))
		}
	}
}
