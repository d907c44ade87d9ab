package service_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// canaries stand wherever a request may hold a name, a health value or free
// text. None may be in a log, a metric, or in what another tenant hears.
var canaries = []string{
	"canary-trainee", "canary-plan", "canary-key", "canary-lift", "Canary Name", "canary note", "canary/album", "canary coach",
	"83.9517", "777.1234", "2345.678", "171.375", "64.3217", "91.2345", "canary-word",
}

// canaryEntries are valid entries of every kind that holds text or a number.
func canaryEntries() []*pb.Entry {
	lift := &pb.Entry{Date: day(1), Key: "canary-key", Note: "canary note", Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: "canary-lift", Load: &pb.Mass{Value: 91.2345, Unit: 1}, Reps: 5}}}
	tape := &pb.Entry{Date: day(1), Note: "canary note", Fact: &pb.Entry_Tape{Tape: &pb.Tape{WaistCm: proto.Float64(91.2345)}}}
	fat := &pb.Entry{Date: day(1), Note: "canary note", Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{BodyFatPct: 64.3217, Method: 1}}}
	photos := &pb.Entry{Date: day(1), Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: "canary/album"}}}
	out := []*pb.Entry{lift, tape, fat, photos}
	for i := range 12 {
		out = append(out, weighIn(i, 83.9517), intake(i, 2345.678))
	}
	return out
}

// refusedEntries hold canaries where they are refused.
func refusedEntries() []*pb.Entry {
	key := weighIn(0, 83.9517)
	key.Key = "canary-key/83.9517"
	unit := weighIn(0, 83.9517)
	unit.GetWeighIn().Weight.Unit = 0
	future := weighIn(0, 83.9517)
	future.Date = &date.Date{Year: 2900, Month: 1, Day: 1}
	return []*pb.Entry{weighIn(0, 777.1234), key, unit, future, {Note: "canary note"}}
}

// TestPrivacy_NothingOfATraineeLeaks makes accepted and refused calls by both
// ways in, with canaries in all of them, and looks for these in the log, in the
// metrics and in what another tenant is told.
func TestPrivacy_NothingOfATraineeLeaks(t *testing.T) {
	r := start(t)
	var told []string // what the other tenant hears
	foreign := r.withToken(r.key("tenant-b", "log.write", "log.read", "trend.read", "recommendation.read", "plan.write", "export", "erase"))
	weak := r.withToken(r.key("tenant-a", "trend.read"))
	stranger := r.withToken("steelyard_canary-word_canary-word_canary-word")

	const name, planName = "trainees/canary-trainee", "trainees/canary-trainee/plans/canary-plan"
	upload := &pb.BackfillOpening{Parent: name, UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64)}
	backfill := []proto.Message{
		&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: upload}},
		&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: append(canaryEntries(), refusedEntries()...)}}},
		&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Seq: 7, Entries: canaryEntries()}}},
	}
	steps := []step{
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "canary-trainee", Trainee: &pb.Trainee{
			DisplayName: "Canary Name", Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4}, HeightCm: proto.Float64(171.375),
			MaintenanceGuessKcal: proto.Float64(2345.678), ActivityLevel: 2,
		}}, ""),
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "canary-trainee/canary-word", Trainee: &pb.Trainee{TimeZone: "canary-word", DisplayName: "Canary Name"}}, ""),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: name, PlanId: "canary-plan", Plan: &pb.Plan{StartDate: day(0), GoalWeightKg: proto.Float64(83.9517)}}, ""),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: name, PlanId: "canary-plan", Plan: &pb.Plan{StartDate: day(0)}}, ""),
		one(pb.LogbookService_BatchCreateEntries_FullMethodName, &pb.BatchCreateEntriesRequest{Parent: name, Entries: canaryEntries()}, ""),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: name, PlanId: "canary-plan", Plan: &pb.Plan{StartDate: day(0)}}, ""),
		one(pb.LogbookService_ListEntries_FullMethodName, &pb.ListEntriesRequest{Parent: name, PageToken: "canary-word"}, ""),
		one(pb.LogbookService_ListEntries_FullMethodName, &pb.ListEntriesRequest{Parent: name}, ""),
		one(pb.LogbookService_DeleteEntry_FullMethodName, &pb.DeleteEntryRequest{Name: name + "/entries/2025-03-04-lift-set-canary-key"}, ""),
		one(pb.LogbookService_DeleteEntry_FullMethodName, &pb.DeleteEntryRequest{Name: name + "/entries/2025-03-04-lift-set-canary-key"}, ""),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: planName, AsOfDate: day(12)}, ""),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: planName, Decision: &pb.Decision{
			FromDate: day(12), Action: 2, Target: &pb.Target{IntakeKcal: 2345.678}, DecidedBy: "canary coach", Note: "canary note", AnswersRecommendation: true,
		}}, ""),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: planName, Decision: &pb.Decision{FromDate: day(1), Action: 2, Target: &pb.Target{IntakeKcal: 2345.678}, Note: "canary note"}}, ""),
		one(pb.TrendService_GetWeightTrend_FullMethodName, &pb.GetWeightTrendRequest{Name: name + "/weightTrend"}, ""),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: name + "/energyBalance", AsOfDate: day(12)}, ""),
		{pb.LogbookService_BackfillEntries_FullMethodName, backfill, ""},
		one(pb.TraineeService_GetTrainee_FullMethodName, &pb.GetTraineeRequest{Name: name}, ""),
		one(pb.TraineeService_UpdateTrainee_FullMethodName, &pb.UpdateTraineeRequest{
			Trainee: &pb.Trainee{Name: name, DisplayName: "Canary Name"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"canary-word"}},
		}, "its own caller hears the word again"),
	}
	for _, e := range refusedEntries() {
		steps = append(steps, one(pb.LogbookService_CreateEntry_FullMethodName, &pb.CreateEntryRequest{Parent: name, Entry: e}, ""))
	}
	all := methods()
	accepted, refused := 0, 0
	for _, s := range steps {
		for _, who := range []*running{r, foreign, weak, stranger} {
			byGRPC, byJSON := who.callGRPC(t, all[s.method], s), who.callJSON(t, all[s.method], s)
			for _, o := range []outcome{byGRPC, byJSON} {
				if o.err == nil {
					accepted++
				} else {
					refused++
				}
				if who == foreign && s.method != pb.TraineeService_CreateTrainee_FullMethodName {
					told = append(told, fmt.Sprintf("%s: %v %v", s.method, o.err, o.answers))
				}
			}
		}
		if s.method == pb.TraineeService_CreateTrainee_FullMethodName { // the other tenant's own one of that id
			if _, err := foreign.trainees().EraseTrainee(foreign.ctx(), &pb.EraseTraineeRequest{Name: name}); err != nil && status.Code(err) != 5 {
				t.Fatal(err)
			}
		}
	}
	if accepted < 20 || refused < 60 {
		t.Errorf("%d calls accepted, %d refused: the test proves nothing", accepted, refused)
	}

	// What no client library would send.
	for _, c := range [][3]string{
		{"GET", "/v1/trainees/canary-trainee/canary-word", ""},
		{"GET", "/canary-word/canary-trainee?canary-word=83.9517", ""},
		{"GET", "/v1/trainees/canary-trainee/entries?canary-word=83.9517", ""},
		{"GET", "/v1/trainees/canary-trainee/entries?startDate=canary-word", ""},
		{"POST", "/v1/trainees/canary-trainee/entries", `{"canary-word":83.9517}`},
		{"POST", "/v1/trainees/canary-trainee/entries", `{"weighIn":{"weight":{"value":"83.9517 canary-word"}}}`},
		{"POST", "/v1/trainees/canary-trainee/entries", `{"note":"canary note`},
		{"CANARY-WORD", "/v1/trainees/canary-trainee", ""},
		{"POST", "/v1/entries:backfill", `{"batch":{"entries":[{"weighIn":{"weight":{"value":"83.9517 canary-word"}}}]}}`},
	} {
		for _, who := range []*running{r, stranger} {
			who.http(who.token, c[0], c[1], c[2], "User-Agent", "canary-word", "Idempotency-Key", "canary-word", "Referer", "canary-word")
		}
	}
	for _, method := range []string{"/steelyard.v1.LogbookService/canary-word", "/canary-word/canary-trainee"} {
		_ = r.conn.Invoke(metadata.AppendToOutgoingContext(r.ctx(), "user-agent", "canary-word", "x-canary", "canary-word"), method, &emptypb.Empty{}, &emptypb.Empty{})
	}

	metrics := string(r.admin("GET", "/metrics").body)
	if !strings.Contains(metrics, "rpc_server_call_duration") || !strings.Contains(r.log.String(), "CreateEntry") || len(told) < 20 {
		t.Errorf("nothing to look at: %d bytes of metrics, %d of log, %d answers", len(metrics), len(r.log.String()), len(told))
	}
	for _, c := range canaries {
		for where, text := range map[string]string{"log": r.log.String(), "metrics": metrics, "other tenant's answers": strings.Join(told, "\n")} {
			if i := strings.Index(strings.ToLower(text), strings.ToLower(c)); i >= 0 {
				t.Errorf("%q is in the %s: ...%s", c, where, text[max(0, i-200):min(len(text), i+80)])
			}
		}
	}
}

// TestPrivacy_StandardErrorHoldsNothingEither: libraries write to standard error
// past our log. A process of its own gets garbage with canaries.
func TestPrivacy_StandardErrorHoldsNothingEither(t *testing.T) {
	const asChild = "STEELYARD_TEST_GARBAGE"
	if os.Getenv(asChild) != "" {
		sendGarbage(t)
		return
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute) // so that a child that hangs fails
	defer cancel()
	child := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestPrivacy_StandardErrorHoldsNothingEither$", "-test.count=1")
	child.Env = append(os.Environ(), asChild+"=1")
	var out, errs bytes.Buffer
	child.Stdout, child.Stderr = &out, &errs
	if err := child.Run(); err != nil || !strings.Contains(out.String(), "PASS") {
		t.Fatalf("%v\n%s\n%s", err, out.String(), errs.String())
	}
	for _, c := range append(canaries, "panic") {
		if strings.Contains(errs.String(), c) {
			t.Errorf("%q is on standard error:\n%s", c, errs.String())
		}
	}
}

func sendGarbage(t *testing.T) {
	l := begin(t, onLoopback(t.TempDir()))
	l.trainee("canary-trainee")
	opening := `{"opening":{"parent":"trainees/canary-trainee","uploadId":"0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11","contentSha256":"` + strings.Repeat("a", 64) + `"}}` + "\n"
	for _, line := range []string{
		`{"batch":{"entries":[{"weighIn":{"weight":{"value":"83.9517 canary-word"}}}]}}`,
		`{"batch":{"entries":[{"canary-word":83.9517}]}}`, `{"batch":{"entries":[{"note":"canary note`, `canary-word`, "{\"note\":\"canary note\xff\"}",
		`{"batch":{"seq":9,"entries":[{}]}}` + "\n" + `{"batch":{"seq":10,"entries":[{"note":"canary note"}]}}`,
	} {
		l.http(l.token, "POST", "/v1/entries:backfill", opening+line+"\n")
		l.http(l.token, "POST", "/v1/trainees/canary-trainee/entries", line)
	}
	for range 20 { // the stream ends with most of its body not read yet
		l.http(l.token, "POST", "/v1/entries:backfill", opening+`{"batch":{"seq":9,"entries":[{}]}}`+"\n"+strings.Repeat("{}\n", 30_000))
	}
	l.http(l.token, "GET", "/v1/trainees/canary-trainee", "", "Grpc-Metadata-Canary-Bin", "canary-word", "X-Request-Id", "canary-word\u00ff", "X-Forwarded-For", "canary-word\u00ff")
	for _, head := range []string{"canary-word\r\n\r\n", "GET /v1/trainees/canary-trainee HTTP/9.9\r\n\r\n", "POST /v1/entries:backfill HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + l.token + "\r\nTransfer-Encoding: chunked\r\n\r\nzz canary-word\r\n"} {
		conn, err := new(net.Dialer).DialContext(t.Context(), "tcp", l.app.HTTPAddress())
		if err != nil {
			t.Fatal(err)
		}
		_, _ = conn.Write([]byte(head))
		_, _ = bufio.NewReader(conn).ReadString('\n')
		_ = conn.Close()
	}
	_ = l.conn.Invoke(l.ctx(), "/canary-word/canary-trainee", &emptypb.Empty{}, &emptypb.Empty{})
	l.stop()
	l.ended()
	l.close()
}
