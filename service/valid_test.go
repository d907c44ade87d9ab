package service_test

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store"
)

// valid has a request of each method that succeeds; a stream takes several. Its
// maker first makes what the request uses up, told apart by n. Two callers get the
// same requests but for the trainee. A method that is missing here fails the tests
// that walk the contract.
var valid = map[string]func(t testing.TB, c caller, n int) []proto.Message{
	pb.LogbookService_CreateEntry_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return just(&pb.CreateEntryRequest{Parent: c.name(), Entry: weighIn(13+n%50, 80)})
	},
	pb.LogbookService_BatchCreateEntries_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		second := weighIn(13+n%50, 80)
		second.Key = "second"
		return just(&pb.BatchCreateEntriesRequest{Parent: c.name(), Entries: []*pb.Entry{weighIn(13+n%50, 80), second}})
	},
	pb.LogbookService_ListEntries_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ListEntriesRequest{Parent: c.name(), PageSize: 5})
	},
	pb.LogbookService_DeleteEntry_FullMethodName: func(t testing.TB, c caller, n int) []proto.Message {
		e := weighIn(0, 80)
		e.Key = fmt.Sprintf("gone-%d", n)
		c.must(t, one(pb.LogbookService_CreateEntry_FullMethodName, &pb.CreateEntryRequest{Parent: c.name(), Entry: e}, ""))
		return just(&pb.DeleteEntryRequest{Name: c.name() + "/entries/2025-03-03-weigh-in-" + e.Key})
	},
	pb.LogbookService_BackfillEntries_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return []proto.Message{
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
				Parent: c.name(), UploadId: fmt.Sprintf("0d5a6fe5-6c8a-4a4c-b3f4-%012x", n), ContentSha256: fmt.Sprintf("%064x", n),
			}}},
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: []*pb.Entry{weighIn(13+n%50, 80)}}}},
		}
	},
	pb.TrendService_GetWeightTrend_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetWeightTrendRequest{Name: c.name() + "/weightTrend", StartDate: day(0), EndDate: day(11)})
	},
	pb.TrendService_GetEnergyBalance_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetEnergyBalanceRequest{Name: c.name() + "/energyBalance", AsOfDate: day(11)})
	},
	pb.TrendService_GetStrengthTrend_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetStrengthTrendRequest{Name: c.name() + "/strengthTrend", AsOfDate: day(11)})
	},
	pb.PhaseService_CreatePlan_FullMethodName: func(t testing.TB, c caller, n int) []proto.Message {
		fresh := caller{c.running, c.tenant, fmt.Sprintf("%s-plan-%d", c.trainee, n)} // one plan at a time is open
		c.must(t, one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: fresh.trainee, Trainee: &pb.Trainee{}}, ""))
		return just(&pb.CreatePlanRequest{Parent: fresh.name(), PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}})
	},
	pb.PhaseService_GetPlan_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetPlanRequest{Name: c.plan()})
	},
	pb.PhaseService_ListPlans_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ListPlansRequest{Parent: c.name(), PageSize: 5})
	},
	pb.PhaseService_UpdatePlan_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return just(&pb.UpdatePlanRequest{
			Plan: &pb.Plan{Name: c.plan(), WeekendExtraKcal: proto.Float64(float64(n % 100))}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"weekend_extra_kcal"}},
		})
	},
	pb.PhaseService_Recommend_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.RecommendRequest{Name: c.plan(), AsOfDate: day(11)})
	},
	pb.PhaseService_CreateDecision_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return just(&pb.CreateDecisionRequest{Parent: c.plan(), Decision: &pb.Decision{
			FromDate: day(12), Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 2000 + float64(n%100)},
		}})
	},
	pb.PhaseService_ListDecisions_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ListDecisionsRequest{Parent: c.plan(), PageSize: 5})
	},
	pb.PhaseService_CompareDecision_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.CompareDecisionRequest{Name: c.plan() + "/decisions/d1"})
	},
	pb.PhaseService_GetTimeline_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetTimelineRequest{Name: c.plan(), AsOfDate: day(11)})
	},
	pb.PhaseService_ListDueReviews_FullMethodName: func(_ testing.TB, _ caller, _ int) []proto.Message {
		return just(&pb.ListDueReviewsRequest{AsOfDate: day(40), PageSize: 5})
	},
	pb.PhaseService_Forecast_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ForecastRequest{Name: c.plan(), AsOfDate: day(11)})
	},
	pb.TraineeService_CreateTrainee_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return just(&pb.CreateTraineeRequest{TraineeId: fmt.Sprintf("%s-new-%d", c.trainee, n), Trainee: &pb.Trainee{DisplayName: "New"}})
	},
	pb.TraineeService_GetTrainee_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.GetTraineeRequest{Name: c.name()})
	},
	pb.TraineeService_UpdateTrainee_FullMethodName: func(_ testing.TB, c caller, n int) []proto.Message {
		return just(&pb.UpdateTraineeRequest{
			Trainee: &pb.Trainee{Name: c.name(), MaintenanceGuessKcal: proto.Float64(2000 + float64(n%100))}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"maintenance_guess_kcal"}},
		})
	},
	pb.TraineeService_ExportTrainee_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ExportTraineeRequest{Name: c.name()})
	},
	pb.TraineeService_EraseTrainee_FullMethodName: func(t testing.TB, c caller, n int) []proto.Message {
		gone := caller{c.running, c.tenant, fmt.Sprintf("%s-gone-%d", c.trainee, n)}
		c.must(t, one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: gone.trainee, Trainee: &pb.Trainee{}}, ""))
		return just(&pb.EraseTraineeRequest{Name: gone.name()})
	},
	pb.AdminService_CreateApiKey_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{DisplayName: "Front desk", Trainee: c.name(), Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE}}})
	},
	pb.AdminService_ListApiKeys_FullMethodName: func(_ testing.TB, _ caller, _ int) []proto.Message {
		return just(&pb.ListApiKeysRequest{PageSize: 5})
	},
	pb.AdminService_RotateApiKey_FullMethodName: func(t testing.TB, c caller, n int) []proto.Message {
		return just(&pb.RotateApiKeyRequest{Name: c.key(t, n)})
	},
	pb.AdminService_RevokeApiKey_FullMethodName: func(t testing.TB, c caller, n int) []proto.Message {
		return just(&pb.RevokeApiKeyRequest{Name: c.key(t, n)})
	},
	pb.AdminService_GetRetention_FullMethodName: func(_ testing.TB, _ caller, _ int) []proto.Message {
		return just(&pb.GetRetentionRequest{Name: "retention"})
	},
	pb.AdminService_UpdateRetention_FullMethodName: func(_ testing.TB, _ caller, n int) []proto.Message {
		return just(&pb.UpdateRetentionRequest{Retention: &pb.Retention{Name: "retention", IdleDays: int32(3650 + n%100)}})
	},
	pb.AdminService_ListAuditRecords_FullMethodName: func(_ testing.TB, c caller, _ int) []proto.Message {
		return just(&pb.ListAuditRecordsRequest{Trainee: c.name(), PageSize: 5})
	},
}

// key is the id of an API key of the tenant; what stands in it of the trainee's name
// tells whose it is.
func (c caller) key(t testing.TB, n int) string {
	id := fmt.Sprintf("%skey%d", strings.ReplaceAll(c.trainee, "-", ""), n)
	_, err := c.app.Keyring().IssueEdited(t.Context(), c.tenant, []string{"log.read"}, func(k *store.Key) { k.ID = id })
	if err != nil {
		t.Fatal(err)
	}
	return "apiKeys/" + id
}

// nobodys is the same name of nobody's thing.
func nobodys(name string) string {
	bare := func(s string) string { return strings.ReplaceAll(s, "-", "") }
	return strings.NewReplacer(traineeOfMine, traineeOfNobody, bare(traineeOfMine), bare(traineeOfNobody)).Replace(name)
}

func just(m proto.Message) []proto.Message { return []proto.Message{m} }

func (c caller) name() string { return "trainees/" + c.trainee }
func (c caller) plan() string { return c.name() + "/plans/cut" }
