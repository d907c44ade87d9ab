package convert

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
)

// How far apart two estimates have to lie to be told apart. A hundredth of a
// percent of body weight a week is about 10 kcal a day for 80 kg; both are a
// tenth of the uncertainty of a well logged month or less.
const (
	rateGrain        = 0.01 // % of body weight a week
	maintenanceGrain = 10   // kcal/d
)

// RecommendationChanges lists in what two recommendations for the same day
// differ: the action, the stage, each number of the proposed target, the rate
// and maintenance of the estimate, then one change for each finding that is in
// one of them only, named by its code.
func RecommendationChanges(given, now *pb.Recommendation) []*pb.RecommendationChange {
	var out []*pb.RecommendationChange
	differ := func(field, was, is string) {
		if was != is {
			out = append(out, &pb.RecommendationChange{Field: field, Given: was, Now: is})
		}
	}
	differ("action", given.GetAction().String(), now.GetAction().String())
	differ("stage", given.GetStage().String(), now.GetStage().String())
	fields := (*pb.Target)(nil).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		differ("proposed_target."+string(f.Name()), numberOf(given.GetProposedTarget(), f), numberOf(now.GetProposedTarget(), f))
	}
	apart := func(field string, was, is *float64, grain float64, format string) {
		if was == nil || is == nil || math.Abs(*was-*is) >= grain {
			differ(field, printed(was, format), printed(is, format))
		}
	}
	apart("estimate.rate_pct_per_week", rateOf(given.GetEstimate()), rateOf(now.GetEstimate()), rateGrain, "%.2f")
	apart("estimate.maintenance_kcal", maintenanceOf(given.GetEstimate()), maintenanceOf(now.GetEstimate()), maintenanceGrain, "%.0f")
	for _, code := range codesWithout(given.GetFindings(), now.GetFindings()) {
		differ("findings", code, "")
	}
	for _, code := range codesWithout(now.GetFindings(), given.GetFindings()) {
		differ("findings", "", code)
	}
	return out
}

// numberOf prints a number of a target in whole kcal or days; empty when it is absent.
func numberOf(t *pb.Target, f protoreflect.FieldDescriptor) string {
	if t == nil || f.HasPresence() && !t.ProtoReflect().Has(f) {
		return ""
	}
	if f.Kind() == protoreflect.DoubleKind {
		return fmt.Sprintf("%.0f", t.ProtoReflect().Get(f).Float())
	}
	return t.ProtoReflect().Get(f).String()
}

func rateOf(e *pb.EnergyEstimate) *float64 {
	if e == nil {
		return nil
	}
	return e.RatePctPerWeek
}

func maintenanceOf(e *pb.EnergyEstimate) *float64 {
	if e == nil {
		return nil
	}
	return &e.MaintenanceKcal
}

func printed(v *float64, format string) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf(format, *v)
}

// codesWithout returns the codes of a that b does not have, in order; a code
// that a has more often comes once for each time more.
func codesWithout(a, b []*pb.Finding) []string {
	left := map[string]int{}
	for _, f := range b {
		left[f.GetCode()]++
	}
	var out []string
	for _, f := range a {
		if left[f.GetCode()]--; left[f.GetCode()] < 0 {
			out = append(out, f.GetCode())
		}
	}
	return out
}
