package service_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/convert"
)

// badEntry is an entry that is refused, and the field that the refusal names.
type badEntry struct {
	name  string
	entry *pb.Entry
	field string
}

func weighing(value float64, unit pb.MassUnit) *pb.Entry {
	e := weighIn(0, 80)
	e.GetWeighIn().Weight = &pb.Mass{Value: value, Unit: unit}
	return e
}

func on(d *date.Date) *pb.Entry {
	e := weighIn(0, 80)
	e.Date = d
	return e
}

func badEntries(t *testing.T) []badEntry {
	const kg = pb.MassUnit_MASS_UNIT_KILOGRAM
	utc, err := convert.Today(timeNow(), "UTC")
	if err != nil {
		t.Fatal(err)
	}
	steps, negative, score := int32(-1), -5.0, int32(6)
	withKey := weighIn(0, 80)
	withKey.Key = "a/b"
	longNote := weighIn(0, 80)
	longNote.Note = strings.Repeat("n", 501)
	withMinute := weighIn(0, 80)
	withMinute.GetWeighIn().MinuteOfDay = proto.Int32(1440)
	return []badEntry{
		{"NaN", weighing(math.NaN(), kg), "entry.weigh_in.weight.value"},
		{"+Inf", weighing(math.Inf(1), kg), "entry.weigh_in.weight.value"},
		{"-Inf", weighing(math.Inf(-1), kg), "entry.weigh_in.weight.value"},
		{"negative", weighing(-80, kg), "entry.weigh_in.weight.value"},
		{"zero", weighing(0, kg), "entry.weigh_in.weight.value"},
		{"subnormal", weighing(5e-324, kg), "entry.weigh_in.weight.value"},
		{"1e308", weighing(1e308, kg), "entry.weigh_in.weight.value"},
		{"1e308 stone", weighing(1e308, pb.MassUnit_MASS_UNIT_STONE), "entry.weigh_in.weight.value"},
		{"700 kg", weighing(700, kg), "entry.weigh_in.weight.value"},
		{"19.99 kg", weighing(19.99, kg), "entry.weigh_in.weight.value"},
		{"no unit", weighing(80, pb.MassUnit_MASS_UNIT_UNSPECIFIED), "entry.weigh_in.weight.unit"},
		{"unknown unit", weighing(80, 99), "entry.weigh_in.weight.unit"},
		{"no weight", &pb.Entry{Date: day(0), Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{}}}, "entry.weigh_in.weight"},
		{"minute 1440", withMinute, "entry.weigh_in.minute_of_day"},
		{"in two days and more", on(convert.DayToProto(utc + 3)), "entry.date"},
		{"31 April", on(&date.Date{Year: 2025, Month: 4, Day: 31}), "entry.date"},
		{"29 February 2023", on(&date.Date{Year: 2023, Month: 2, Day: 29}), "entry.date"},
		{"year 1", on(&date.Date{Year: 1, Month: 1, Day: 1}), "entry.date"},
		{"year 0", on(&date.Date{Month: 1, Day: 1}), "entry.date"},
		{"month 0", on(&date.Date{Year: 2025, Day: 1}), "entry.date"},
		{"year 9999", on(&date.Date{Year: 9999, Month: 12, Day: 31}), "entry.date"},
		{"no date", on(nil), "entry.date"},
		{"no fact", &pb.Entry{Date: day(0)}, "entry"},
		{"key with a slash", withKey, "entry.key"},
		{"long note", longNote, "entry.note"},
		{"intake without unit", &pb.Entry{Date: day(0), Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: 2000}}}}, "entry.intake.energy.unit"},
		{"intake of 20001 kcal", intake(0, 20001), "entry.intake.energy.value"},
		{"negative protein", &pb.Entry{Date: day(0), Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: 1, Unit: 1}, ProteinG: &negative}}}, "entry.intake.protein_g"},
		{"negative steps", &pb.Entry{Date: day(0), Fact: &pb.Entry_Activity{Activity: &pb.Activity{Steps: &steps}}}, "entry.activity.steps"},
		{"empty activity", &pb.Entry{Date: day(0), Fact: &pb.Entry_Activity{Activity: &pb.Activity{}}}, "entry.activity"},
		{"set without reps", &pb.Entry{Date: day(0), Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: "press", Load: &pb.Mass{Value: 50, Unit: 1}}}}, "entry.lift_set.reps"},
		{"empty tape", &pb.Entry{Date: day(0), Fact: &pb.Entry_Tape{Tape: &pb.Tape{}}}, "entry.tape"},
		{"71 % fat", &pb.Entry{Date: day(0), Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{BodyFatPct: 71, Method: 1}}}, "entry.body_fat.body_fat_pct"},
		{"score 6", &pb.Entry{Date: day(0), Fact: &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{Sleep: &score}}}, "entry.check_in.sleep"},
		{"pictures without reference", &pb.Entry{Date: day(0), Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{}}}, "entry.photo_set.reference"},
		{"mark of nothing", &pb.Entry{Date: day(0), Fact: &pb.Entry_Mark{Mark: &pb.Mark{}}}, "entry.mark.of"},
		{"target of no refeed", &pb.Entry{Date: day(0), Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_TRAVEL, TargetKcal: proto.Float64(2000)}}}, "entry.mark"},
	}
}

// TestBadEntries: every bad entry is refused by both ways in, alone and inside a
// batch, the refusal names the field, and nothing is stored.
func TestBadEntries(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	if _, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(0, 81.25)}); err != nil {
		t.Fatal(err)
	}
	before := r.dump("t1")
	all := methods()
	create, batch := all[pb.LogbookService_CreateEntry_FullMethodName], all[pb.LogbookService_BatchCreateEntries_FullMethodName]
	tried := 0
	for _, c := range badEntries(t) {
		t.Run(c.name, func(t *testing.T) {
			one := &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: c.entry}
			_, err := r.logbook().CreateEntry(r.ctx(), one)
			refusedFor(t, "gRPC", status.Convert(err), c.field)
			r.refusedJSON(t, transcode(t, create, one), c.field)

			many := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{weighIn(5, 82), c.entry}}
			inBatch := strings.Replace(c.field, "entry", "entries[1]", 1)
			_, err = r.logbook().BatchCreateEntries(r.ctx(), many)
			refusedFor(t, "gRPC batch", status.Convert(err), inBatch)
			r.refusedJSON(t, transcode(t, batch, many), inBatch)
			tried += 4
		})
	}
	if after := r.dump("t1"); after != before {
		t.Errorf("the store changed\nbefore %s\nafter  %s", before, after)
	}
	t.Logf("%d bad entries refused", tried)
}

// TestBadRequests: requests that are bad as a whole.
func TestBadRequests(t *testing.T) {
	r := start(t)
	r.tell(t, "t1")
	before := r.dump("t1")
	many := func(n int) *pb.BatchCreateEntriesRequest {
		out := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
		for i := range n {
			out.Entries = append(out.Entries, weighIn(-i, 80))
		}
		return out
	}
	twice := many(2)
	twice.Entries[1] = weighIn(0, 81)
	for _, c := range []struct {
		name, method, field string
		req                 proto.Message
	}{
		{"1001 entries", pb.LogbookService_BatchCreateEntries_FullMethodName, "entries", many(1001)},
		{"no entries", pb.LogbookService_BatchCreateEntries_FullMethodName, "entries", many(0)},
		{"twice the same", pb.LogbookService_BatchCreateEntries_FullMethodName, "entries[1].key", twice},
		{"id with a slash", pb.LogbookService_BatchCreateEntries_FullMethodName, "parent", &pb.BatchCreateEntriesRequest{Parent: "trainees/a/b", Entries: many(1).Entries}},
		{"id with a slash", pb.TraineeService_CreateTrainee_FullMethodName, "trainee_id", &pb.CreateTraineeRequest{TraineeId: "a/b", Trainee: &pb.Trainee{}}},
		{"request id that is none", pb.TraineeService_CreateTrainee_FullMethodName, "request_id", &pb.CreateTraineeRequest{TraineeId: "t2", Trainee: &pb.Trainee{}, RequestId: "again"}},
		{"birth tomorrow", pb.TraineeService_CreateTrainee_FullMethodName, "trainee.birth_date", &pb.CreateTraineeRequest{TraineeId: "t2", Trainee: &pb.Trainee{BirthDate: &date.Date{Year: 2900, Month: 1, Day: 1}}}},
		{"height NaN", pb.TraineeService_CreateTrainee_FullMethodName, "trainee.height_cm", &pb.CreateTraineeRequest{TraineeId: "t2", Trainee: &pb.Trainee{HeightCm: proto.Float64(math.NaN())}}},
		{"pace of 2 %", pb.PhaseService_CreatePlan_FullMethodName, "plan.pace_pct_per_week", &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "p", Plan: &pb.Plan{StartDate: day(0), PacePctPerWeek: proto.Float64(2)}}},
		{"band upside down", pb.PhaseService_CreatePlan_FullMethodName, "plan.band_low_pct_per_week", &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "p", Plan: &pb.Plan{StartDate: day(0), BandLowPctPerWeek: proto.Float64(0.9), BandHighPctPerWeek: proto.Float64(0.6)}}},
		{"dates upside down", pb.LogbookService_ListEntries_FullMethodName, "end_date", &pb.ListEntriesRequest{Parent: "trainees/t1", StartDate: day(3), EndDate: day(1)}},
		{"1001 kcal more at the weekend", pb.PhaseService_CreatePlan_FullMethodName, "plan.weekend_extra_kcal", &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "p", Plan: &pb.Plan{StartDate: day(0), WeekendExtraKcal: proto.Float64(1001)}}},
		{"less at the weekend", pb.PhaseService_CreatePlan_FullMethodName, "plan.weekend_extra_kcal", &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "p", Plan: &pb.Plan{StartDate: day(0), WeekendExtraKcal: proto.Float64(-1)}}},
		{"NaN at the weekend", pb.PhaseService_UpdatePlan_FullMethodName, "plan.weekend_extra_kcal", &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", WeekendExtraKcal: proto.Float64(math.NaN())}}},
		{"id in capitals", pb.PhaseService_CompareDecision_FullMethodName, "name", &pb.CompareDecisionRequest{Name: "trainees/t1/plans/cut/decisions/D1"}},
		{"id in capitals", pb.PhaseService_GetTimeline_FullMethodName, "name", &pb.GetTimelineRequest{Name: "trainees/t1/plans/CUT"}},
		{"31 April", pb.PhaseService_GetTimeline_FullMethodName, "as_of_date", &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2025, Month: 4, Day: 31}}},
		{"far ahead", pb.PhaseService_GetTimeline_FullMethodName, "as_of_date", &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2900, Month: 1, Day: 1}}},
		{"id in capitals", pb.PhaseService_Forecast_FullMethodName, "name", &pb.ForecastRequest{Name: "trainees/t1/plans/CUT"}},
		{"29 February 2025", pb.PhaseService_Forecast_FullMethodName, "as_of_date", &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2025, Month: 2, Day: 29}}},
		{"far ahead", pb.PhaseService_Forecast_FullMethodName, "as_of_date", &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2900, Month: 1, Day: 1}}},
		{"unknown kind", pb.LogbookService_ListEntries_FullMethodName, "kinds[0]", &pb.ListEntriesRequest{Parent: "trainees/t1", Kinds: []pb.EntryKind{77}}},
	} {
		t.Run(c.method[strings.LastIndex(c.method, "/")+1:]+" "+c.name+" "+c.field, func(t *testing.T) {
			m := methods()[c.method]
			reply := proto.Clone(&pb.Entry{}) // never filled: the call fails
			err := r.conn.Invoke(r.ctx(), c.method, c.req, reply)
			refusedFor(t, "gRPC", status.Convert(err), c.field)
			if strings.Contains(c.name, "slash") && c.field == "parent" {
				return // over HTTP that is another path, and 404
			}
			r.refusedJSON(t, transcode(t, m, c.req), c.field)
		})
	}
	if after := r.dump("t1"); after != before {
		t.Errorf("the store changed\nbefore %s\nafter  %s", before, after)
	}
}

// TestBadBytes: what no client library would send.
func TestBadBytes(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	before := r.dump("t1")
	note := "/v1/trainees/t1/entries"
	const entry = `{"note":"%s","date":{"year":2025,"month":3,"day":3},"weighIn":{"weight":{"value":80,"unit":"MASS_UNIT_KILOGRAM"}}}`
	for name, body := range map[string]string{
		"invalid UTF-8":   fmt.Sprintf(entry, "\xff\xfe"),
		"NaN as a string": strings.Replace(fmt.Sprintf(entry, ""), "80", `"NaN"`, 1),
		"infinity":        strings.Replace(fmt.Sprintf(entry, ""), "80", `"Infinity"`, 1),
		"1e999":           strings.Replace(fmt.Sprintf(entry, ""), "80", "1e999", 1),
		"unknown field":   strings.Replace(fmt.Sprintf(entry, ""), "note", "remark", 1),
		"array":           "[" + fmt.Sprintf(entry, "") + "]",
		"deep":            strings.Repeat(`{"weighIn":`, 20000) + strings.Repeat("}", 20000),
		"empty":           "",
	} {
		if got := r.http(r.token, "POST", note, body); got.status != 400 || got.json(t)["code"] != "INVALID_ARGUMENT" {
			t.Errorf("%s: %d %s", name, got.status, got.body)
		}
	}
	if got := r.http(r.token, "POST", note, fmt.Sprintf(entry, strings.Repeat("x", 2<<20))); got.status != 413 {
		t.Errorf("2 MiB: %d", got.status)
	}
	// The same by gRPC: raw bytes that are not a message, and a string that is not UTF-8.
	for name, raw := range map[string][]byte{
		"random bytes":  {0xff, 0x01, 0x02},
		"truncated":     {0x0a, 0x7f, 'x'},
		"invalid UTF-8": append([]byte{0x0a, 11}, []byte("trainees/\xff\xfe")...),
	} {
		err := r.conn.Invoke(r.ctx(), pb.TraineeService_GetTrainee_FullMethodName, raw, &pb.Trainee{}, rawCodec())
		refusedFor(t, name+" by gRPC", status.Convert(err), "(message)")
	}
	_, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{Note: strings.Repeat("x", 2<<20)}})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("2 MiB by gRPC: %v", err)
	}
	if after := r.dump("t1"); after != before {
		t.Errorf("the store changed\nbefore %s\nafter  %s", before, after)
	}
}

// TestForeignIsAbsent: with another tenant's key a trainee answers in every
// method, by both ways in, exactly as one that does not exist; and a key without
// the scope or without anything is refused.
func TestForeignIsAbsent(t *testing.T) {
	r := start(t)
	foreign := r.key("tenant-b", "log.write", "log.read", "trend.read", "recommendation.read", "plan.write", "export", "erase")
	seen := map[string]bool{}
	r.tell(t, "t1")
	for _, s := range story() {
		m := methods()[s.method]
		if seen[s.method] || s.method == pb.TraineeService_CreateTrainee_FullMethodName {
			continue
		}
		seen[s.method] = true
		if isAdmin(m) { // about no trainee; TestAdmin_TenantsAreApart
			continue
		}
		absent := step{s.method, renamed(t, s.requests, "trainees/t1", "trainees/nobody"), s.note}
		for _, way := range []struct {
			name string
			call func(*testing.T, string, step) string
		}{
			{"gRPC", func(t *testing.T, token string, s step) string {
				return r.withToken(token).callGRPC(t, m, s).err.String()
			}},
			{"JSON", func(t *testing.T, token string, s step) string {
				return r.withToken(token).callJSON(t, m, s).err.String()
			}},
		} {
			t.Run(s.method[strings.LastIndex(s.method, "/")+1:]+" "+way.name, func(t *testing.T) {
				theirs, nobodys := way.call(t, foreign, s), way.call(t, foreign, absent)
				// A list of the tenant's own trainees names none; TestDue_OfOneTenant looks into it.
				ofNobody := s.method == pb.PhaseService_ListDueReviews_FullMethodName
				if theirs != nobodys || strings.Contains(theirs, "code:5") == ofNobody {
					t.Errorf("another tenant's %s\nnobody's        %s", theirs, nobodys)
				}
				if got := way.call(t, r.key("tenant-a", otherScope(s.method)), s); !strings.Contains(got, "code:7") {
					t.Errorf("without the scope: %s", got)
				}
				if got := way.call(t, "", s); !strings.Contains(got, "code:16") {
					t.Errorf("without a key: %s", got)
				}
			})
		}
	}
	if len(seen) != len(methods())-1 {
		t.Errorf("tried %d methods of %d", len(seen), len(methods())-1)
	}
}

// refusedFor checks an INVALID_ARGUMENT that names the field.
func refusedFor(t *testing.T, way string, s *status.Status, field string) {
	t.Helper()
	if s.Code() != codes.InvalidArgument {
		t.Errorf("%s: %v %q, want INVALID_ARGUMENT", way, s.Code(), s.Message())
		return
	}
	var named []string
	for _, d := range s.Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range b.GetFieldViolations() {
				named = append(named, v.GetField())
			}
		}
	}
	for _, n := range named {
		if n == field {
			return
		}
	}
	t.Errorf("%s names %q, want %q (%s)", way, named, field, s.Message())
}

func (r *running) refusedJSON(t *testing.T, req httpRequest, field string) {
	t.Helper()
	got := r.http(r.token, req.verb, req.path, req.body)
	if got.status != 400 {
		t.Errorf("JSON: status %d\n%s", got.status, got.body)
		return
	}
	if strings.Contains(string(got.body), `"(body)"`) || strings.Contains(string(got.body), "has a parameter") {
		return // JSON cannot even spell it: an unknown enum number, a date without month
	}
	s := status.FromProto(decodeProblem(t, got.body))
	if last := field[strings.LastIndexAny(field, ".")+1:]; len(s.Details()) > 0 && strings.Contains(s.Message(), last) {
		return // refused while decoding, which knows the field's own name only
	}
	refusedFor(t, "JSON", s, field)
}

// dump is everything that is stored of a trainee, and its revision.
func (r *running) dump(trainee string) string {
	r.t.Helper()
	tr, err := r.trainees().GetTrainee(r.ctx(), &pb.GetTraineeRequest{Name: "trainees/" + trainee})
	if err != nil {
		r.t.Fatal(err)
	}
	entries, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/" + trainee, PageSize: 1000})
	if err != nil {
		r.t.Fatal(err)
	}
	plans, err := r.phases().ListPlans(r.ctx(), &pb.ListPlansRequest{Parent: "trainees/" + trainee})
	if err != nil {
		r.t.Fatal(err)
	}
	return prototextOf(tr) + prototextOf(entries) + prototextOf(plans)
}

func prototextOf(m proto.Message) string {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		panic(err)
	}
	return fmt.Sprintf("%x", b)
}

// tell makes a trainee with a log and a plan.
func (r *running) tell(t *testing.T, trainee string) {
	t.Helper()
	r.trainee(trainee)
	name := "trainees/" + trainee
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: name, Entries: []*pb.Entry{weighIn(0, 80), weighIn(1, 80), weighIn(2, 80), weighIn(11, 79)}}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: name, PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
		t.Fatal(err)
	}
}

func (r *running) withToken(token string) *running {
	other := *r
	other.token = token
	return &other
}

// renamed replaces text in requests, wherever it stands.
func renamed(t *testing.T, in []proto.Message, old, replacement string) []proto.Message {
	t.Helper()
	out := make([]proto.Message, len(in))
	for i, m := range in {
		out[i] = m.ProtoReflect().New().Interface()
		text := strings.ReplaceAll(marshal(t, m), old, replacement)
		if err := protojson.Unmarshal([]byte(text), out[i]); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func otherScope(method string) string {
	if strings.Contains(method, "ListEntries") {
		return "log.write"
	}
	return "log.read"
}
