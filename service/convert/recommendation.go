package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/window"
)

// RecommendationToProto writes a recommendation. What the engine does not know
// stays absent.
func RecommendationToProto(plan string, r phase.Recommendation) *pb.Recommendation {
	out := &pb.Recommendation{
		Plan: plan, AsOfDate: DayToProto(r.AsOf), PlanDay: int32(r.PlanDay),
		Stage: stages[r.Stage], Action: pb.Action(r.Action), IsReviewDue: r.ReviewDue, NextReviewDate: OptDayToProto(r.NextReview),
		Headline: r.Headline, CurrentTarget: targetToProto(r.Current, r.WeekendExtraKcal), ProposedTarget: targetToProto(r.Proposed, r.WeekendExtraKcal),
		Method: MethodToProto(r.Method), Posterior: answerOfMethodToProto(r.Posterior), Practice: answerOfMethodToProto(r.Practice),
		WhyDifferent: r.WhyDiffer, Cautions: CautionsToProto(r.Cautions),
		Evidence: &pb.Evidence{
			ReadingsUsed: int32(r.RestsOn.ReadingsUsed), ReadingsRefused: int32(r.RestsOn.ReadingsRefused),
			ReadingsLast_7Days: int32(r.RestsOn.ReadingsLast7), ReadingsLast_14Days: int32(r.RestsOn.ReadingsLast14),
			LoggedDaysLast_7Days: int32(r.RestsOn.LoggedLast7), LoggedDaysLast_14Days: int32(r.RestsOn.LoggedLast14),
			LoggedDays: int32(r.RestsOn.LoggedDays), LogDays: int32(r.RestsOn.LogDays),
		},
		Adherence: adherenceToProto(r.Adherence), Strain: strainToProto(r.Strain), Refeeds: refeedsToProto(r.Refeeds),
		MaintenanceReturn: returnToProto(r.Return, r.WeekendExtraKcal),
	}
	for _, o := range r.Options {
		out.Options = append(out.Options, optionToProto(o, r.WeekendExtraKcal))
	}
	if r.Estimate != nil {
		out.Estimate = EstimateToProto(*r.Estimate)
	}
	out.Findings = findingsToProto(r.Findings)
	return out
}

var stages = map[phase.Stage]pb.Stage{
	phase.NotStarted:      pb.Stage_STAGE_NOT_STARTED,
	phase.MaintenanceTest: pb.Stage_STAGE_MAINTENANCE_TEST,
	phase.OpeningDeficit:  pb.Stage_STAGE_OPENING_DEFICIT,
	phase.BaseActivity:    pb.Stage_STAGE_BASE_ACTIVITY,
	phase.WeeklyReviews:   pb.Stage_STAGE_WEEKLY_REVIEWS,
	phase.DietBreak:       pb.Stage_STAGE_DIET_BREAK,
	phase.Returning:       pb.Stage_STAGE_RETURN_TO_MAINTENANCE,
	phase.Finished:        pb.Stage_STAGE_FINISHED,
	phase.Paused:          pb.Stage_STAGE_PAUSED,
	phase.Referred:        pb.Stage_STAGE_REFERRED,
	phase.Closed:          pb.Stage_STAGE_CLOSED,
}

// EstimateToProto writes an estimate with its intervals.
func EstimateToProto(e balance.Estimate) *pb.EnergyEstimate {
	out := &pb.EnergyEstimate{
		AsOfDate: DayToProto(e.AsOf), TrendWeightKg: e.TrendWeightKg, TrendWeightSdKg: e.TrendWeightSDKg,
		ScaleWeightKg: e.ScaleWeightKg, ScaleWeightSdKg: e.ScaleWeightSDKg,
		RatePctPerWeek: &e.RatePctPerWeek, RateSdPctPerWeek: &e.RateSDPctPerWeek,
		Rate_80: interval(e.Interval(0.80)), Rate_95: interval(e.Interval(0.95)), ShownRate_80: interval(e.ScaleInterval(0.80)),
		MaintenanceKcal: e.MaintenanceKcal, MaintenanceSdKcal: e.MaintenanceSDKcal,
		ProbabilityBelowBand: &e.PBelowBand, ProbabilityAboveBand: &e.PAboveBand, ReadingsUsed: int32(e.ReadingsUsed),
	}
	for _, r := range e.Refused {
		out.RefusedReadings = append(out.RefusedReadings, &pb.RefusedReading{Date: DayToProto(r.Day), WeightKg: r.WeightKg, Reason: r.Reason.String()})
	}
	return out
}

// CautionsToProto writes cautions.
func CautionsToProto(cautions []phase.Caution) []*pb.Caution {
	out := make([]*pb.Caution, len(cautions))
	for i, c := range cautions {
		out[i] = &pb.Caution{Code: string(c.Code), Sentence: c.Sentence}
	}
	return out
}

func interval(low, high float64) *pb.Interval { return &pb.Interval{Low: low, High: high} }

func answerOfMethodToProto(a *phase.MethodAnswer) *pb.MethodAnswer {
	if a == nil {
		return nil
	}
	return &pb.MethodAnswer{
		Method: MethodToProto(a.Method), Action: pb.Action(a.Action), RatePctPerWeek: a.RatePctPerWeek,
		RateSePctPerWeek: optToProto(a.RateSEPctPerWeek), ChangeKcalPerDay: optToProto(a.ChangeKcal),
		ChangePct: optToProto(a.ChangePct), Sentence: a.Sentence,
	}
}

func optionToProto(o phase.LeverOption, weekendExtraKcal float64) *pb.LeverOption {
	out := &pb.LeverOption{Lever: pb.Lever(o.Kind), IsPossible: o.Possible, WhyNot: o.WhyNot, IsRecommended: o.Recommended}
	if c := o.Change; c != nil {
		out.Target = targetToProto(&c.Target, weekendExtraKcal)
		out.IntakeChangeKcalPerDay, out.IntakeChangeKcalPerWeek = &c.FoodKcalPerDay, &c.FoodKcalPerWeek
		out.ActivityChangeKcalPerDay, out.ActivityChangeKcalPerWeek = &c.ActivityKcalPerDay, &c.ActivityKcalPerWeek
		out.StepsPerDay, out.WalkMinutesPerDay = optIntToProto(c.StepsPerDay), optToProto(c.WalkMinutesPerDay)
	}
	return out
}

func findingsToProto(findings []phase.Finding) []*pb.Finding {
	out := make([]*pb.Finding, len(findings))
	for i, f := range findings {
		out[i] = &pb.Finding{Code: string(f.Code), Severity: pb.Severity(f.Severity), Sentence: f.Sentence, Date: OptDayToProto(f.Day)}
		for _, n := range f.Numbers {
			out[i].Numbers = append(out[i].Numbers, &pb.NamedNumber{Name: n.Name, Value: n.Value, Unit: n.Unit})
		}
	}
	return out
}

// OptToProto writes a number that may be unknown.
func OptToProto(o engine.Opt) *float64 { return optToProto(o) }

// OriginToProto writes where a window came from.
func OriginToProto(o window.Origin) pb.WindowSource {
	if o == window.FromBag {
		return pb.WindowSource_WINDOW_SOURCE_SNAPSHOT
	}
	return pb.WindowSource_WINDOW_SOURCE_STORE
}
