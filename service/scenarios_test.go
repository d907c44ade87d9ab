package service_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/testdata/scenarios"
)

// TestScenarios runs the scenarios of testdata through the API: what a check
// expects of the engine, it expects of gRPC and of JSON.
func TestScenarios(t *testing.T) {
	all, err := scenarios.Load()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 15 {
		t.Fatalf("found only %d scenarios", len(all))
	}
	r := start(t)
	refused := 0
	for _, s := range all {
		t.Run(s.File, func(t *testing.T) {
			play := &scenarioPlay{running: r, t: t, scenario: s}
			err := play.run()
			switch {
			case s.APIRefuses == "" && err != nil:
				t.Fatal(err)
			case s.APIRefuses != "" && !isRefusalOf(err, s.APIRefuses):
				t.Errorf("refused with %v, want %s", err, s.APIRefuses)
			case s.APIRefuses != "":
				refused++
			}
		})
	}
	if refused > 3 {
		t.Errorf("%d scenarios end in a refusal: too many to show anything", refused)
	}
}

// scenarioPlay is one scenario on its way through the API. It changes what is
// stored from one check's state to the next one's, as a caller would.
type scenarioPlay struct {
	*running
	t        *testing.T
	scenario scenarios.Scenario
	stored   scenarios.State
	decided  int // decisions that are recorded
}

func (p *scenarioPlay) trainee() string { return convert.TraineeName(p.scenario.File) }
func (p *scenarioPlay) plan() string    { return convert.PlanName(p.scenario.File, "p1") }

func (p *scenarioPlay) run() error {
	first, err := p.scenario.After(0)
	if err != nil {
		return err
	}
	if _, err := p.trainees().CreateTrainee(p.ctx(), &pb.CreateTraineeRequest{TraineeId: p.scenario.File, Trainee: profileToProto(first.Profile)}); err != nil {
		return fmt.Errorf("create the trainee: %w", err)
	}
	if _, err := p.phases().CreatePlan(p.ctx(), &pb.CreatePlanRequest{Parent: p.trainee(), PlanId: "p1", Plan: planToProto(first.Plan)}); err != nil {
		return fmt.Errorf("create the plan: %w", err)
	}
	p.stored = scenarios.State{Profile: first.Profile, Plan: first.Plan}
	if err := p.become(first); err != nil {
		return err
	}
	for _, c := range p.scenario.Checks {
		if err := p.check(c); err != nil {
			return fmt.Errorf("%s after %d edits: %w", c.Day, c.AfterEdits, err)
		}
	}
	return nil
}

// check brings about what a check looks at, asks by both ways in and compares.
func (p *scenarioPlay) check(c scenarios.Check) error {
	whole, err := p.scenario.After(c.AfterEdits)
	if err != nil {
		return err
	}
	if err := p.become(whole); err != nil {
		return err
	}
	if err := p.decide(c.Day); err != nil {
		return err
	}
	st, err := p.scenario.At(c)
	if err != nil {
		return err
	}
	if err := p.become(st); err != nil {
		return err
	}
	ask := &pb.RecommendRequest{Name: p.plan(), AsOfDate: convert.DayToProto(c.Day)}
	rec, err := p.phases().Recommend(p.ctx(), ask)
	if err != nil {
		return err
	}
	got := p.http(p.token, "GET", "/v1/"+p.plan()+":recommend?asOfDate="+c.Day.String(), "")
	byJSON := &pb.Recommendation{}
	if err := protojson.Unmarshal(got.body, byJSON); got.status != 200 || err != nil {
		return fmt.Errorf("JSON: %d %w\n%s", got.status, err, got.body)
	}
	for _, way := range []struct {
		name string
		rec  *pb.Recommendation
	}{{"gRPC", rec}, {"JSON", byJSON}} {
		for _, wrong := range c.Compare(answerOf(way.rec)) {
			p.t.Errorf("%s, %s after %d edits: %s", way.name, c.Day, c.AfterEdits, wrong)
		}
	}
	return nil
}

// decide records the decisions of the days before one.
func (p *scenarioPlay) decide(before engine.Day) error {
	for _, d := range p.scenario.Plan.Decisions[p.decided:] {
		if d.From >= before {
			break
		}
		_, err := p.phases().CreateDecision(p.ctx(), &pb.CreateDecisionRequest{Parent: p.plan(), Decision: decisionToProto(d)})
		if err != nil {
			return fmt.Errorf("decision of %s: %w", d.From, err)
		}
		p.decided++
	}
	return nil
}

// become changes what is stored into a state, whose decisions are left out.
func (p *scenarioPlay) become(next scenarios.State) error {
	if next.Profile != p.stored.Profile {
		trainee := profileToProto(next.Profile)
		trainee.Name = p.trainee()
		if _, err := p.trainees().UpdateTrainee(p.ctx(), &pb.UpdateTraineeRequest{Trainee: trainee, UpdateMask: allFields(trainee)}); err != nil {
			return fmt.Errorf("update the trainee: %w", err)
		}
	}
	if plan := planToProto(next.Plan); !proto.Equal(plan, planToProto(p.stored.Plan)) {
		plan.Name = p.plan()
		if _, err := p.phases().UpdatePlan(p.ctx(), &pb.UpdatePlanRequest{Plan: plan, UpdateMask: allFields(plan)}); err != nil {
			return fmt.Errorf("update the plan: %w", err)
		}
	}
	had := map[engine.ID]engine.Entry{}
	for _, e := range p.stored.Entries {
		had[e.ID()] = e
	}
	var changed []*pb.Entry
	for _, e := range next.Entries {
		if old, ok := had[e.ID()]; !ok || old != e {
			entry := convert.EntryToProto(p.scenario.File, e)
			clearOutputs(entry)
			changed = append(changed, entry)
		}
		delete(had, e.ID())
	}
	for batch := range slices.Chunk(changed, 1000) {
		if _, err := p.logbook().BatchCreateEntries(p.ctx(), &pb.BatchCreateEntriesRequest{Parent: p.trainee(), Entries: batch}); err != nil {
			return fmt.Errorf("log: %w", err)
		}
	}
	for _, e := range p.stored.Entries {
		if _, gone := had[e.ID()]; !gone {
			continue
		}
		if _, err := p.logbook().DeleteEntry(p.ctx(), &pb.DeleteEntryRequest{Name: convert.EntryName(p.scenario.File, e.ID())}); err != nil {
			return fmt.Errorf("delete %v: %w", e.ID(), err)
		}
	}
	p.stored = next
	return nil
}

// isRefusalOf reports whether an error says what was wrong: the field, or the
// reason.
func isRefusalOf(err error, what string) bool {
	for err != nil {
		if st, ok := status.FromError(err); ok {
			for _, d := range st.Details() {
				switch d := d.(type) {
				case *errdetails.ErrorInfo:
					if d.GetReason() == what {
						return true
					}
				case *errdetails.BadRequest:
					for _, v := range d.GetFieldViolations() {
						if v.GetField() == what {
							return true
						}
					}
				}
			}
		}
		err = errors.Unwrap(err)
	}
	return false
}

// answerOf tells a recommendation in the words of a check.
func answerOf(r *pb.Recommendation) scenarios.Answer {
	a := scenarios.Answer{
		Stage: enumWord(r.GetStage().String(), "STAGE_"), Action: enumWord(r.GetAction().String(), "ACTION_"),
		Headline: r.GetHeadline(), Cautions: len(r.GetCautions()), Numbers: map[string]float64{},
	}
	if e := r.GetEstimate(); e != nil {
		a.Numbers["rate_pct_per_week"] = e.GetRatePctPerWeek()
		a.Numbers["trend_weight_kg"] = e.GetTrendWeightKg()
		a.Numbers["maintenance_kcal"] = e.GetMaintenanceKcal()
	}
	if p := r.GetProposedTarget(); p != nil {
		a.Numbers["proposed_intake_kcal"] = p.GetIntakeKcal()
		a.Numbers["proposed_activity_kcal"] = p.GetActivityKcal()
	}
	if x := r.GetAdherence(); x != nil {
		a.Numbers["over_target_pct"] = x.GetOverPct()
	}
	if m := r.GetPractice(); m != nil && m.ChangeKcalPerDay != nil {
		a.Numbers["practice_change_kcal"] = m.GetChangeKcalPerDay()
	}
	if s := r.GetStrain(); s != nil && s.MeanScore != nil {
		a.Numbers["mean_strain"] = s.GetMeanScore()
	}
	if s := r.GetStrain(); s.GetLiftsWithTrend() > 0 {
		a.Numbers["falling_lifts"] = float64(s.GetFallingLifts())
	}
	if p := r.GetRefeeds(); p != nil {
		a.Numbers["refeed_every_days"] = float64(p.GetEveryDays())
		a.Numbers["refeed_intake_kcal"] = p.GetIntakeKcal()
	}
	if m := r.GetMaintenanceReturn(); m != nil {
		a.Numbers["return_kcal"] = m.GetMaintenanceKcal()
		a.Numbers["return_steps"] = float64(len(m.GetSteps()))
	}
	for _, f := range r.GetFindings() {
		a.Codes = append(a.Codes, f.GetCode())
		for _, n := range f.GetNumbers() {
			a.Numbers[f.GetCode()+"."+n.GetName()] = n.GetValue()
		}
	}
	for _, c := range r.GetCautions() {
		a.Codes = append(a.Codes, c.GetCode())
	}
	return a
}

func enumWord(name, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", "-")
}

func profileToProto(p engine.Profile) *pb.Trainee {
	out := &pb.Trainee{
		Sex: pb.Sex(p.Sex), BirthDate: convert.OptDayToProto(p.BirthDate), HeightCm: convert.OptToProto(p.HeightCm),
		ActivityLevel: pb.ActivityLevel(p.Activity), MaintenanceGuessKcal: convert.OptToProto(p.MaintenanceGuessKcal),
	}
	for c := pb.HealthCondition_HEALTH_CONDITION_PREGNANT; c <= pb.HealthCondition_HEALTH_CONDITION_HEART_DISEASE; c++ {
		if p.Conditions.Has(1 << (c - 1)) {
			out.Conditions = append(out.Conditions, c)
		}
	}
	return out
}

func planToProto(p engine.Plan) *pb.Plan {
	out := &pb.Plan{
		StartDate: convert.DayToProto(p.Start), State: pb.PlanState_PLAN_STATE_OPEN,
		GoalWeightKg: convert.OptToProto(p.GoalWeightKg), GoalBodyFatPct: convert.OptToProto(p.GoalBodyFatPct),
		Method: convert.MethodToProto(p.Method), SkipMaintenanceTest: p.SkipMaintenanceTest,
		BandLowPctPerWeek: &p.BandLowPctPerWeek, BandHighPctPerWeek: &p.BandHighPctPerWeek, PacePctPerWeek: &p.PacePctPerWeek,
		AllowFoodLever: &p.FoodLever, AllowActivityLever: &p.ActivityLever,
		BaseActivityKcal: &p.BaseActivityKcal, ActivityCapKcal: &p.ActivityCapKcal, IntakeFloorKcal: convert.OptToProto(p.IntakeFloorKcal),
		AllowRefeeds: &p.AllowRefeeds, WeekendExtraKcal: &p.WeekendExtraKcal,
	}
	if p.State == engine.PlanClosed {
		out.State = pb.PlanState_PLAN_STATE_CLOSED
	}
	return out
}

func decisionToProto(d engine.Decision) *pb.Decision {
	out := &pb.Decision{
		FromDate: convert.DayToProto(d.From), Action: pb.Action(d.Action), DecidedBy: d.By,
		Target: &pb.Target{IntakeKcal: d.Target.IntakeKcal, ActivityKcal: d.Target.ActivityKcal},
	}
	if refeed := d.Target.Refeed; refeed.EveryDays > 0 {
		every := int32(refeed.EveryDays)
		out.Target.RefeedEveryDays, out.Target.RefeedIntakeKcal = &every, &refeed.IntakeKcal
	}
	return out
}

// allFields names every field that a caller may set, so that what is left out
// is forgotten.
func allFields(m proto.Message) *fieldmaskpb.FieldMask {
	mask := &fieldmaskpb.FieldMask{}
	fields := m.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); !isOutput(f) && f.Name() != "name" {
			mask.Paths = append(mask.Paths, string(f.Name()))
		}
	}
	return mask
}

func isOutput(f protoreflect.FieldDescriptor) bool {
	behavior, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(behavior, annotations.FieldBehavior_OUTPUT_ONLY)
}

// clearOutputs clears what only the service sets.
func clearOutputs(m proto.Message) {
	m.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case isOutput(f) || f.Name() == "name":
			m.ProtoReflect().Clear(f)
		case f.Message() != nil && !f.IsList():
			clearOutputs(v.Message().Interface())
		}
		return true
	})
}
