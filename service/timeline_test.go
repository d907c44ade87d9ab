package service_test

import (
	"math"
	"slices"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// timeline asks both ways in and checks that they agree.
func (r *running) timeline(t *testing.T, trainee string, asOf int) *pb.Timeline {
	t.Helper()
	name := "trainees/" + trainee + "/plans/cut"
	out, err := r.phases().GetTimeline(r.ctx(), &pb.GetTimelineRequest{Name: name, AsOfDate: day(asOf)})
	if err != nil {
		t.Fatal(err)
	}
	got, byJSON := r.http(r.token, "GET", "/v1/"+name+":timeline?asOfDate="+iso(asOf), ""), &pb.Timeline{}
	err = protojson.Unmarshal(got.body, byJSON)
	if byJSON.GetSource() != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT || out.GetSource() == 0 { // asked a second time
		t.Errorf("from %v, then %v", out.GetSource(), byJSON.GetSource())
	}
	byJSON.Source = out.GetSource()
	if err != nil || !proto.Equal(out, byJSON) {
		t.Errorf("gRPC and JSON differ (%v)\n%v\n%s", err, out, got.body)
	}
	if out.GetPlan() != name || !proto.Equal(out.GetAsOfDate(), day(asOf)) || out.GetRevision() == "" || len(out.GetCautions()) == 0 {
		t.Errorf("told of %q on %v at %q with %d cautions", out.GetPlan(), out.GetAsOfDate(), out.GetRevision(), len(out.GetCautions()))
	}
	return out
}

// iso spells a day as a query does.
func iso(offset int) string { return number(offset).String() }

func number(offset int) engine.Day {
	d, err := convert.DayFromProto(day(offset), "day")
	if err != nil {
		panic(err)
	}
	return d
}

// utcToday is the present day of the clock of the service under test, in UTC.
func utcToday(t *testing.T) engine.Day {
	t.Helper()
	d, err := convert.Today(timeNow(), "UTC")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// find returns the events of a kind.
func find(tl *pb.Timeline, kind pb.TimelineEventKind) []*pb.TimelineEvent {
	var out []*pb.TimelineEvent
	for _, e := range tl.GetEvents() {
		if e.GetKind() == kind {
			out = append(out, e)
		}
	}
	return out
}

// TestTimeline: what happened is told in order with its day, what is due comes
// with it, and the days under each target add up.
func TestTimeline(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	r.decide(t, "t1", 20, &pb.Decision{Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 2100}})
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{
		{Date: day(2), Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: "front and side"}}},
		{Date: day(17), Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_REFEED}}},
		{Date: day(26), Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_REFEED}}}, // after the day that it is told on
	}}); err != nil {
		t.Fatal(err)
	}
	got := r.timeline(t, "t1", 21)
	if got.GetStage() != pb.Stage_STAGE_WEEKLY_REVIEWS {
		t.Errorf("stage %v", got.GetStage())
	}
	var days []string
	for _, e := range got.GetEvents() {
		d, err := convert.DayFromProto(e.GetDate(), "date")
		if err != nil || e.GetSentence() == "" || e.GetKind() == 0 {
			t.Errorf("%v, %v", e, err)
		}
		if e.GetIsDue() != (d >= number(21)) {
			t.Errorf("%s: due is %v", d, e.GetIsDue())
		}
		days = append(days, d.String())
	}
	if !slices.IsSorted(days) {
		t.Errorf("not in order: %v", days)
	}
	for _, want := range []*pb.TimelineEvent{
		{Date: day(0), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_PLAN_START},
		{Date: day(2), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_PICTURES},
		{Date: day(10), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_DECISION, Action: pb.Action_ACTION_START_DEFICIT},
		{Date: day(17), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_REFEED},
		{Date: day(20), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_DECISION, Action: pb.Action_ACTION_LOWER_BALANCE},
		{Date: day(27), Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_REVIEW, IsDue: true}, // a week after the decision
	} {
		if !slices.ContainsFunc(got.GetEvents(), func(e *pb.TimelineEvent) bool {
			e = proto.Clone(e).(*pb.TimelineEvent)
			e.Sentence = ""
			return proto.Equal(e, want)
		}) {
			t.Errorf("no %v among %v", want, got.GetEvents())
		}
	}
	s := got.GetSummary()
	if s.GetDays() != 22 || s.GetRefeeds() != 1 || s.GetBreakDays() != 0 || s.GetLostPct() <= 0 || s.GetEndWeightKg() >= s.GetStartWeightKg() || s.MeanRatePctPerWeek == nil {
		t.Errorf("summary %v", s)
	}
	if want := 100 * (s.GetStartWeightKg() - s.GetEndWeightKg()) / s.GetStartWeightKg(); math.Abs(s.GetLostPct()-want) > 1e-9 {
		t.Errorf("lost %v %%, want %v", s.GetLostPct(), want)
	}
	if p := s.GetPeriods(); len(p) != 2 || !proto.Equal(p[0].GetStartDate(), day(10)) || !proto.Equal(p[0].GetEndDate(), day(19)) || p[0].GetTarget().GetIntakeKcal() != 2200 || p[0].RatePctPerWeek == nil ||
		!proto.Equal(p[1].GetStartDate(), day(20)) || !proto.Equal(p[1].GetEndDate(), day(21)) || p[1].GetAction() != pb.Action_ACTION_LOWER_BALANCE || p[1].RatePctPerWeek != nil {
		t.Errorf("periods %v", p)
	}
	// Told earlier, the later decision had not been made.
	early := r.timeline(t, "t1", 15)
	if n := len(find(early, pb.TimelineEventKind_TIMELINE_EVENT_KIND_DECISION)); n != 1 || len(early.GetSummary().GetPeriods()) != 1 {
		t.Errorf("on day 15 %d decisions, periods %v", n, early.GetSummary().GetPeriods())
	}
}

// TestTimeline_OfAClosedPlan: the story stays to be told, and nothing is due in it.
func TestTimeline_OfAClosedPlan(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	open := r.timeline(t, "t1", 21)
	r.change(t, "t1", &pb.Plan{State: pb.PlanState_PLAN_STATE_CLOSED}, "state")
	closed := r.timeline(t, "t1", 21)
	if closed.GetStage() != pb.Stage_STAGE_CLOSED || !proto.Equal(closed.GetSummary(), open.GetSummary()) || closed.GetRevision() == open.GetRevision() {
		t.Errorf("closed %v\nopen   %v", closed, open)
	}
	for _, e := range closed.GetEvents() {
		if e.GetIsDue() {
			t.Errorf("due in a closed plan: %v", e)
		}
	}
	if len(find(closed, pb.TimelineEventKind_TIMELINE_EVENT_KIND_DECISION)) != 1 {
		t.Errorf("events %v", closed.GetEvents())
	}
	// Another plan is open now: each has its own story.
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "next", Plan: &pb.Plan{StartDate: day(21)}}); err != nil {
		t.Fatal(err)
	}
	if again := r.timeline(t, "t1", 21); !proto.Equal(settled(again), settled(closed)) {
		t.Errorf("beside an open plan %v\nwant %v", again, closed)
	}
}

// TestTimeline_ReadsTheWeeksBeforeThePlan: strength is held against what was
// lifted before it, and a plan of any length is told.
func TestTimeline_ReadsTheWeeksBeforeThePlan(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	const length = 450 // days, longer than a recommendation looks back
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(0), SkipMaintenanceTest: true}}); err != nil {
		t.Fatal(err)
	}
	var entries []*pb.Entry
	press := func(i int, kg float64) {
		entries = append(entries, &pb.Entry{Date: day(i), Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
			Lift: "press", Load: &pb.Mass{Value: kg, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 5,
		}}})
	}
	for i := -27; i < 0; i += 3 {
		press(i, 60)
	}
	for i := length - 13; i <= length; i += 2 {
		press(i, 57)
	}
	for i := 0; i <= length; i++ {
		entries = append(entries, weighIn(i, 95-0.02*float64(i)+0.3*float64(i%2)))
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: entries}); err != nil {
		t.Fatal(err)
	}
	r.decide(t, "t1", 0, &pb.Decision{Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: 2300}})
	s := r.timeline(t, "t1", length).GetSummary()
	// 57 of 60 kg at the same repetitions are 95 %.
	if s.StrengthRetentionPct == nil || math.Abs(s.GetStrengthRetentionPct()-95) > 0.5 {
		t.Errorf("strength %v", s.StrengthRetentionPct)
	}
	// 0.02 kg a day over 450 days are 9 kg; over the last 400 they would be 8.
	if lost := s.GetStartWeightKg() - s.GetEndWeightKg(); math.Abs(lost-9) > 0.4 || s.GetDays() != length+1 {
		t.Errorf("%v kg in %d days: %v", lost, s.GetDays(), s)
	}
}

// TestTimeline_BeforeThePlan: there is a story to come.
func TestTimeline_BeforeThePlan(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(60)}}); err != nil {
		t.Fatal(err)
	}
	got := r.timeline(t, "t1", 0)
	if s := find(got, pb.TimelineEventKind_TIMELINE_EVENT_KIND_PLAN_START); got.GetStage() != pb.Stage_STAGE_NOT_STARTED || got.Summary != nil || len(s) != 1 || !s[0].GetIsDue() {
		t.Errorf("%v", got)
	}
	// What refers a trainee is seen before the plan and however old it is, as by a
	// recommendation: 45 kg at 180 cm are too little for any deficit.
	if _, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(-200, 45)}); err != nil {
		t.Fatal(err)
	}
	for _, asOf := range []int{0, 60, 61} {
		if got, want := r.timeline(t, "t1", asOf).GetStage(), r.recommend(t, "t1", asOf).GetStage(); got != want || want != pb.Stage_STAGE_REFERRED {
			t.Errorf("day %d: %v, recommended %v", asOf, got, want)
		}
	}
	for _, name := range []string{"trainees/t1/plans/nope", "trainees/nobody/plans/cut"} {
		if _, err := r.phases().GetTimeline(r.ctx(), &pb.GetTimelineRequest{Name: name}); status.Code(err) != codes.NotFound {
			t.Errorf("%s: %v", name, err)
		}
	}
	before := utcToday(t)
	after, err := r.phases().GetTimeline(r.ctx(), &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut"})
	if err != nil {
		t.Fatal(err)
	}
	// A trainee without a zone lives in UTC; midnight may come between the clocks.
	if d, err := convert.DayFromProto(after.GetAsOfDate(), "as_of_date"); err != nil || d < before || d > before+1 {
		t.Errorf("without a day: %v, %v", d, err)
	}
}
