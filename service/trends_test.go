package service_test

import (
	"math"
	"testing"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestStrengthTrend: sets go in, the trend comes out, and what cannot be known
// is absent with why.
func TestStrengthTrend(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	batch := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
	for i := range 9 {
		batch.Entries = append(batch.Entries, &pb.Entry{Date: day(3 * i), Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
			Lift: "press", Load: &pb.Mass{Value: 60 + 0.5*float64(i), Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 5,
		}}})
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
		t.Fatal(err)
	}
	s, err := r.trends().GetStrengthTrend(r.ctx(), &pb.GetStrengthTrendRequest{Name: "trainees/t1/strengthTrend", AsOfDate: day(26)})
	if err != nil || len(s.GetLifts()) != 1 || len(s.GetCautions()) == 0 {
		t.Fatalf("%v, %v", s, err)
	}
	l := s.GetLifts()[0]
	// From 60 to 64 kg in 24 days: 100 (64/60)^(7/24) - 100 = 1.90 % a week. The
	// last set is worth 64 (1 + 5/30) kg by Epley's formula.
	if l.GetLift() != "press" || l.GetSessions() != 9 || math.Abs(l.GetTrendPctPerWeek()-1.90) > 0.05 || math.Abs(l.GetLatestE1RmKg()-64*(1+5./30)) > 1e-9 {
		t.Errorf("lift %v", l)
	}
	if i := l.GetTrend_80(); i.GetLow() >= l.GetTrendPctPerWeek() || i.GetHigh() <= l.GetTrendPctPerWeek() {
		t.Errorf("trend %v outside its interval %v", l.GetTrendPctPerWeek(), i)
	}
	if l.RetentionPct != nil || l.GetWhyNoRetention() != "no cut has begun" || s.GetHardSets().PerWeek != nil || s.GetHardSets().GetWhyAbsent() == "" {
		t.Errorf("no cut, but retention %v (%q) and hard sets %v", l.RetentionPct, l.GetWhyNoRetention(), s.GetHardSets())
	}
}

// TestWeightTrendLines: the chart line of past days knows the later ones, so it
// is surer than the line that decisions rest on, and ends where that one ends.
func TestWeightTrendLines(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	batch := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
	for i := range 40 {
		batch.Entries = append(batch.Entries, weighIn(i, 85-0.06*float64(i)+0.4*float64(i%3)), intake(i, 2300))
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
		t.Fatal(err)
	}
	trend, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(0), EndDate: day(39)})
	if err != nil || len(trend.GetPoints()) != 40 {
		t.Fatalf("%d points, %v", len(trend.GetPoints()), err)
	}
	for i, p := range trend.GetPoints() {
		switch last := i == 39; {
		case p.TrendWeightKg == nil || p.SmoothedWeightKg == nil:
			t.Errorf("day %d: no line", i)
		case !last && p.GetSmoothedWeightSdKg() >= p.GetTrendWeightSdKg():
			t.Errorf("day %d: the chart line is no surer, %v and %v kg", i, p.GetSmoothedWeightSdKg(), p.GetTrendWeightSdKg())
		case last && math.Abs(p.GetSmoothedWeightKg()-p.GetTrendWeightKg()) > 1e-9:
			t.Errorf("the lines end apart, at %v and %v kg", p.GetSmoothedWeightKg(), p.GetTrendWeightKg())
		}
	}
	// 0.06 kg a day is 0.42 kg a week; the third-day pattern leaves the slope of 28
	// days within 0.05 of that.
	if l := trend.GetLine_28Days(); l.GetReadings() != 28 || math.Abs(l.GetSlopeKgPerWeek()+0.42) > 0.05 || l.GetSlope_95().GetLow() >= l.GetSlopeKgPerWeek() {
		t.Errorf("line %v", l)
	}
	if l := trend.GetLine_7Days(); l.GetReadings() != 7 {
		t.Errorf("line %v", l)
	}
}
