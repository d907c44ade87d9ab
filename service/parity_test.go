package service_test

import (
	"encoding/json"
	"errors"
	"io"
	"sort"
	"strings"
	"testing"

	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
)

// step is one call of the story that the parity test tells twice.
type step struct {
	method string
	// requests holds one message, or several for a stream of requests.
	requests []proto.Message
	note     string
}

func one(method string, req proto.Message, note string) step {
	return step{method, []proto.Message{req}, note}
}

// story calls every method of the contract, well and badly.
func story() []step {
	height, floor, tooSmall, weekend, refeed, goal, every := 181.0, 1800.0, 12.0, 140.0, 2700.0, 84.0, int32(14)
	full := &pb.Trainee{Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1991, Month: 7, Day: 2}, HeightCm: &height, TimeZone: "Pacific/Auckland"}
	const (
		// revision is none of this trainee: whoever holds it gets the latest state.
		revision = "00112233445566778899aabbccddeeff-3"
		upload   = "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11"
		sha      = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
		writes   = "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	)
	key := requestedKey("CreateApiKey", writes)
	var first, second []*pb.Entry
	for i := range 12 {
		first = append(first, weighIn(i, 92.4+0.3*float64(i%2)), intake(i, 2810))
	}
	for i := 12; i < 26; i++ {
		second = append(second, weighIn(i, 91.5-0.08*float64(i-12)), intake(i, 2350))
	}
	second = append(second, weighIn(3, 4), &pb.Entry{Date: day(4)})
	var presses []*pb.Entry
	for i := range 9 {
		presses = append(presses, &pb.Entry{Date: day(3 * i), Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
			Lift: "press", Load: &pb.Mass{Value: 60 + 0.5*float64(i), Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 5,
		}}})
	}
	return []step{
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "t1", Trainee: full, RequestId: writes}, "new"),
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "t1", Trainee: full, RequestId: writes}, "replayed"),
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "t1", Trainee: full}, "taken"),
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "t2", Trainee: &pb.Trainee{HeightCm: &tooSmall}}, "too small"),
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: "t2", Trainee: &pb.Trainee{TimeZone: "Mars/Olympus"}}, "no such zone"),
		one(pb.TraineeService_GetTrainee_FullMethodName, &pb.GetTraineeRequest{Name: "trainees/t1"}, "there"),
		one(pb.TraineeService_GetTrainee_FullMethodName, &pb.GetTraineeRequest{Name: "trainees/t9"}, "absent"),
		one(pb.TraineeService_UpdateTrainee_FullMethodName, &pb.UpdateTraineeRequest{Trainee: &pb.Trainee{Name: "trainees/t1", ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_ACTIVE}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"activity_level"}}}, "changed"),
		one(pb.TraineeService_UpdateTrainee_FullMethodName, &pb.UpdateTraineeRequest{Trainee: &pb.Trainee{Name: "trainees/t1"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"shoe_size"}}}, "bad mask"),

		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}, "new"),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut2", Plan: &pb.Plan{StartDate: day(0)}}, "second open"),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut3", Plan: &pb.Plan{}}, "no start"),
		one(pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{Name: "trainees/t1/plans/cut"}, "there"),
		one(pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{Name: "trainees/t1/plans/nope"}, "absent"),
		one(pb.PhaseService_ListPlans_FullMethodName, &pb.ListPlansRequest{Parent: "trainees/t1", PageSize: 5}, "all"),
		one(pb.PhaseService_ListPlans_FullMethodName, &pb.ListPlansRequest{Parent: "trainees/t1", PageSize: -1}, "negative page"),
		one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", IntakeFloorKcal: &floor}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"intake_floor_kcal"}}}, "changed"),
		one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", WeekendExtraKcal: &weekend, AllowRefeeds: proto.Bool(false)}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"weekend_extra_kcal", "allow_refeeds"}}}, "more at the weekend, no refeeds"),
		one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", StartDate: day(3)}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"start_date"}}}, "fixed field"),

		one(pb.LogbookService_BatchCreateEntries_FullMethodName, &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: first}, "all"),
		one(pb.LogbookService_BatchCreateEntries_FullMethodName, &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{weighIn(1, 90), weighIn(1, 91)}}, "twice the same"),
		one(pb.LogbookService_CreateEntry_FullMethodName, &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{Date: day(11), Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 204.5, Unit: pb.MassUnit_MASS_UNIT_POUND}}}}}, "pounds"),
		one(pb.LogbookService_CreateEntry_FullMethodName, &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(11, 700)}, "700 kg"),
		one(pb.LogbookService_CreateEntry_FullMethodName, &pb.CreateEntryRequest{Parent: "trainees/t9", Entry: weighIn(11, 80)}, "absent trainee"),
		one(pb.LogbookService_ListEntries_FullMethodName, &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: 4, StartDate: day(2), Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_WEIGH_IN}}, "a page"),
		one(pb.LogbookService_ListEntries_FullMethodName, &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: "bm9uc2Vuc2U"}, "forged token"),
		one(pb.LogbookService_DeleteEntry_FullMethodName, &pb.DeleteEntryRequest{Name: "trainees/t1/entries/2025-03-14-weigh-in-1"}, "there"),
		one(pb.LogbookService_DeleteEntry_FullMethodName, &pb.DeleteEntryRequest{Name: "trainees/t1/entries/2025-03-14-weigh-in-1"}, "gone"),
		one(pb.LogbookService_DeleteEntry_FullMethodName, &pb.DeleteEntryRequest{Name: "trainees/t1/entries/2025-02-30-weigh-in-1"}, "no such day"),

		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(5)}, "in the test"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(10)}, "end of the test"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(10), AtLeastRevision: revision}, "a revision of another incarnation"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(10), AtLeastRevision: "7"}, "no revision"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/nope", AtLeastRevision: revision}, "absent plan at a revision"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/nope"}, "absent plan"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2900, Month: 1, Day: 1}}, "far ahead"),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
			FromDate: day(10), Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: 2350}, AnswersRecommendation: true, DecidedBy: "coach",
		}}, "accepted"),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
			FromDate: day(12), Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 900},
		}}, "under the floor"),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
			FromDate: day(8), Action: pb.Action_ACTION_HOLD, Target: &pb.Target{IntakeKcal: 2350},
		}}, "out of order"),
		one(pb.PhaseService_CompareDecision_FullMethodName, &pb.CompareDecisionRequest{Name: "trainees/t1/plans/cut/decisions/d1"}, "unchanged"),
		one(pb.PhaseService_CompareDecision_FullMethodName, &pb.CompareDecisionRequest{Name: "trainees/t1/plans/cut/decisions/d9"}, "absent decision"),
		one(pb.PhaseService_CompareDecision_FullMethodName, &pb.CompareDecisionRequest{Name: "trainees/t1/plans/nope/decisions/d1"}, "absent plan"),
		one(pb.PhaseService_GetTimeline_FullMethodName, &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(10)}, "early"),
		one(pb.PhaseService_ListDecisions_FullMethodName, &pb.ListDecisionsRequest{Parent: "trainees/t1/plans/cut"}, "all"),
		one(pb.PhaseService_ListDecisions_FullMethodName, &pb.ListDecisionsRequest{Parent: "trainees/t1/plans/nope"}, "absent plan"),

		{pb.LogbookService_BackfillEntries_FullMethodName, []proto.Message{
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{Parent: "trainees/t1", UploadId: upload, ContentSha256: sha}}},
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: second}}},
		}, "two refused"},
		{pb.LogbookService_BackfillEntries_FullMethodName, []proto.Message{
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: second}}},
		}, "no opening"},
		{pb.LogbookService_BackfillEntries_FullMethodName, []proto.Message{
			&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{Parent: "trainees/t1", UploadId: upload, ContentSha256: strings.Repeat("a", 64)}}},
		}, "other content"},

		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(21)}, "in the cut"),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
			FromDate: day(21), Action: pb.Action_ACTION_CHANGE_REFEEDS, Target: &pb.Target{IntakeKcal: 2300, RefeedEveryDays: &every, RefeedIntakeKcal: &refeed}, Note: "asked for",
		}}, "with refeeds"),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
			FromDate: day(21), Action: pb.Action_ACTION_CHANGE_REFEEDS, Target: &pb.Target{IntakeKcal: 2300, RefeedEveryDays: &every},
		}}, "half a refeed"),
		one(pb.PhaseService_CompareDecision_FullMethodName, &pb.CompareDecisionRequest{Name: "trainees/t1/plans/cut/decisions/d2"}, "that answers nothing"),
		one(pb.PhaseService_GetTimeline_FullMethodName, &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25)}, "in the cut"),
		one(pb.PhaseService_GetTimeline_FullMethodName, &pb.GetTimelineRequest{Name: "trainees/t1/plans/nope"}, "absent plan"),
		one(pb.PhaseService_GetTimeline_FullMethodName, &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: &date.Date{Year: 2900, Month: 1, Day: 1}}, "far ahead"),
		one(pb.TrendService_GetWeightTrend_FullMethodName, &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(0), EndDate: day(25)}, "all"),
		one(pb.TrendService_GetWeightTrend_FullMethodName, &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(5), EndDate: day(2)}, "backwards"),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: "trainees/t1/energyBalance", AsOfDate: day(25)}, "there"),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: "trainees/t1/energyBalance", AsOfDate: day(-100)}, "before the log"),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: "trainees/t9/energyBalance"}, "absent trainee"),
		one(pb.LogbookService_BatchCreateEntries_FullMethodName, &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: presses}, "lifts"),
		one(pb.TrendService_GetStrengthTrend_FullMethodName, &pb.GetStrengthTrendRequest{Name: "trainees/t1/strengthTrend", AsOfDate: day(26)}, "there"),
		one(pb.TrendService_GetStrengthTrend_FullMethodName, &pb.GetStrengthTrendRequest{Name: "trainees/t9/strengthTrend"}, "absent trainee"),
		one(pb.TrendService_GetWeightTrend_FullMethodName, &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", EndDate: day(25), AtLeastRevision: revision}, "a revision of another incarnation"),
		one(pb.TrendService_GetWeightTrend_FullMethodName, &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", AtLeastRevision: revision + "x"}, "no revision"),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: "trainees/t1/energyBalance", AsOfDate: day(25), AtLeastRevision: revision}, "a revision of another incarnation"),
		one(pb.TrendService_GetEnergyBalance_FullMethodName, &pb.GetEnergyBalanceRequest{Name: "trainees/t1/energyBalance", AtLeastRevision: revision + "x"}, "no revision"),
		one(pb.TrendService_GetStrengthTrend_FullMethodName, &pb.GetStrengthTrendRequest{Name: "trainees/t1/strengthTrend", AsOfDate: day(26), AtLeastRevision: revision}, "a revision of another incarnation"),
		one(pb.TrendService_GetStrengthTrend_FullMethodName, &pb.GetStrengthTrendRequest{Name: "trainees/t1/strengthTrend", AtLeastRevision: revision + "x"}, "no revision"),
		one(pb.PhaseService_ListDueReviews_FullMethodName, &pb.ListDueReviewsRequest{}, "today"),
		one(pb.PhaseService_ListDueReviews_FullMethodName, &pb.ListDueReviewsRequest{AsOfDate: day(40), PageSize: 1, Reasons: []pb.DueReason{pb.DueReason_DUE_REASON_REVIEW, pb.DueReason_DUE_REASON_STOPPED_LOGGING}}, "a page"),
		one(pb.PhaseService_ListDueReviews_FullMethodName, &pb.ListDueReviewsRequest{PageToken: "bm9uc2Vuc2U"}, "forged token"),
		one(pb.PhaseService_ListDueReviews_FullMethodName, &pb.ListDueReviewsRequest{PageSize: -1}, "negative page"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25)}, "without a goal"),
		one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", GoalWeightKg: &goal}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"goal_weight_kg"}}}, "a goal"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25)}, "to the goal"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25), AtLeastRevision: revision}, "a revision of another incarnation"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AtLeastRevision: strings.ToUpper(revision) + "0000000000000000000"}, "no revision"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/nope"}, "absent plan"),
		one(pb.TraineeService_ExportTrainee_FullMethodName, &pb.ExportTraineeRequest{Name: "trainees/t1"}, "there"),
		one(pb.TraineeService_ExportTrainee_FullMethodName, &pb.ExportTraineeRequest{Name: "trainees/t9"}, "absent"),

		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{RequestId: writes, ApiKey: &pb.ApiKey{
			DisplayName: "scale", Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE}, Trainee: "trainees/t1", ExpireTime: &timestamppb.Timestamp{Seconds: 32503680000},
		}}, "bound"),
		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{RequestId: writes, ApiKey: &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE}}}, "again"),
		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE}, Trainee: "trainees/t9"}}, "of an absent trainee"),
		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_ADMIN}, Trainee: "trainees/t1"}}, "bound and yet for all"),
		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE}, ExpireTime: &timestamppb.Timestamp{Seconds: 5}}}, "that has ended"),
		one(pb.AdminService_CreateApiKey_FullMethodName, &pb.CreateApiKeyRequest{ApiKey: &pb.ApiKey{}}, "without a scope"),
		one(pb.AdminService_RotateApiKey_FullMethodName, &pb.RotateApiKeyRequest{Name: key, OverlapHours: proto.Int32(1), RequestId: writes}, "there"),
		one(pb.AdminService_RotateApiKey_FullMethodName, &pb.RotateApiKeyRequest{Name: key, RequestId: writes}, "again"),
		one(pb.AdminService_RotateApiKey_FullMethodName, &pb.RotateApiKeyRequest{Name: "apiKeys/nope"}, "absent"),
		one(pb.AdminService_RotateApiKey_FullMethodName, &pb.RotateApiKeyRequest{Name: key, OverlapHours: proto.Int32(2161)}, "for too long"),
		one(pb.AdminService_RevokeApiKey_FullMethodName, &pb.RevokeApiKeyRequest{Name: key}, "there"),
		one(pb.AdminService_RevokeApiKey_FullMethodName, &pb.RevokeApiKeyRequest{Name: key}, "again"),
		one(pb.AdminService_RevokeApiKey_FullMethodName, &pb.RevokeApiKeyRequest{Name: "apiKeys/nope"}, "absent"),
		one(pb.AdminService_RotateApiKey_FullMethodName, &pb.RotateApiKeyRequest{Name: key}, "revoked"),
		one(pb.AdminService_GetRetention_FullMethodName, &pb.GetRetentionRequest{Name: "retention"}, "of the beginning"),
		one(pb.AdminService_UpdateRetention_FullMethodName, &pb.UpdateRetentionRequest{Retention: &pb.Retention{Name: "retention", IdleDays: 730}}, "two years"),
		one(pb.AdminService_UpdateRetention_FullMethodName, &pb.UpdateRetentionRequest{Retention: &pb.Retention{Name: "retention", IdleDays: 7}}, "a week"),
		one(pb.AdminService_GetRetention_FullMethodName, &pb.GetRetentionRequest{Name: "retention"}, "as set"),
		one(pb.AdminService_ListApiKeys_FullMethodName, &pb.ListApiKeysRequest{PageSize: 10}, "all"),
		one(pb.AdminService_ListApiKeys_FullMethodName, &pb.ListApiKeysRequest{PageSize: -1}, "negative page"),
		one(pb.AdminService_ListApiKeys_FullMethodName, &pb.ListApiKeysRequest{PageToken: "bm9uc2Vuc2U"}, "forged token"),
		one(pb.AdminService_ListAuditRecords_FullMethodName, &pb.ListAuditRecordsRequest{}, "all"),
		one(pb.AdminService_ListAuditRecords_FullMethodName, &pb.ListAuditRecordsRequest{Trainee: "trainees/t1"}, "of one"),
		one(pb.AdminService_ListAuditRecords_FullMethodName, &pb.ListAuditRecordsRequest{Trainee: "t1"}, "of no name"),

		one(pb.PhaseService_UpdatePlan_FullMethodName, &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", State: pb.PlanState_PLAN_STATE_CLOSED}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state"}}}, "closed"),
		one(pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(21)}, "of a closed plan"),
		one(pb.PhaseService_GetTimeline_FullMethodName, &pb.GetTimelineRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25)}, "of a closed plan"),
		one(pb.PhaseService_CompareDecision_FullMethodName, &pb.CompareDecisionRequest{Name: "trainees/t1/plans/cut/decisions/d1"}, "of a closed plan"),
		one(pb.PhaseService_Forecast_FullMethodName, &pb.ForecastRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(25)}, "of a closed plan"),
		one(pb.TraineeService_EraseTrainee_FullMethodName, &pb.EraseTraineeRequest{Name: "trainees/t1"}, "there"),
		one(pb.TraineeService_EraseTrainee_FullMethodName, &pb.EraseTraineeRequest{Name: "trainees/t1"}, "gone"),
		one(pb.AdminService_ListAuditRecords_FullMethodName, &pb.ListAuditRecordsRequest{}, "of the erased"),
	}
}

// outcome is what a call gave: messages, or an error.
type outcome struct {
	answers []proto.Message
	err     *rpcstatus.Status // nil when it went well
}

// TestGRPCAndJSONAgree tells the same story to two services, one by gRPC and one
// by JSON: every answer and every error must be the same. A method that the
// story leaves out fails the test.
func TestGRPCAndJSONAgree(t *testing.T) {
	byGRPC, byJSON := startWith(t, samePepper), startWith(t, samePepper)
	all := methods()
	good, bad := map[string]int{}, map[string]int{}
	for _, s := range story() {
		t.Run(s.method[strings.LastIndex(s.method, "/")+1:]+" "+s.note, func(t *testing.T) {
			m := all[s.method]
			want, got := byGRPC.callGRPC(t, m, s), byJSON.callJSON(t, m, s)
			if want.err == nil {
				good[s.method]++
			} else {
				bad[s.method]++
			}
			if !proto.Equal(want.err, got.err) {
				t.Fatalf("errors differ\ngRPC %v\nJSON %v", want.err, got.err)
			}
			if len(want.answers) != len(got.answers) {
				t.Fatalf("gRPC answers %d messages, JSON %d", len(want.answers), len(got.answers))
			}
			for i := range want.answers {
				if w, g := settled(want.answers[i]), settled(got.answers[i]); !proto.Equal(w, g) {
					t.Errorf("answers differ\ngRPC %v\nJSON %v", w, g)
				}
			}
		})
	}
	names := make([]string, 0, len(all))
	for name := range all {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		if bad[name] == 0 && name != pb.AdminService_GetRetention_FullMethodName { // which has but one request

			t.Errorf("the story never makes %s fail", name)
		}
		if good[name] == 0 {
			t.Errorf("the story never makes %s succeed", name)
		}
	}
}

// samePepper gives the keys that are made for a request the same ids everywhere.
func samePepper(cfg *service.Config) { cfg.KeyPepper = "parity" }

// requestedKey is the name of the key that tenant-a makes with a request id.
func requestedKey(method, requestID string) string {
	id, err := access.RequestedID([]byte("parity"), "tenant-a", method, requestID)
	if err != nil {
		panic(err)
	}
	return convert.KeyName(id)
}

// isAdmin reports whether a method is served on the admin listener.
func isAdmin(m protoreflect.MethodDescriptor) bool { return m.Parent().Name() == "AdminService" }

func (r *running) callGRPC(t testing.TB, m protoreflect.MethodDescriptor, s step) outcome {
	t.Helper()
	conn, _ := r.listener(m)
	stream, err := conn.NewStream(r.ctx(), &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, s.method)
	if err != nil {
		t.Fatal(err)
	}
	for _, req := range s.requests {
		if err := stream.SendMsg(req); err != nil && !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
	}
	if err := stream.CloseSend(); err != nil {
		t.Fatal(err)
	}
	var out outcome
	for {
		answer := dynamicpb.NewMessage(m.Output())
		err := stream.RecvMsg(answer)
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			out.err = status.Convert(err).Proto()
			return out
		}
		out.answers = append(out.answers, answer)
	}
}

func (r *running) callJSON(t testing.TB, m protoreflect.MethodDescriptor, s step) outcome {
	t.Helper()
	req := transcode(t, m, s.requests[0])
	for _, more := range s.requests[1:] {
		req.body += "\n" + marshal(t, more)
	}
	_, address := r.listener(m)
	got := r.httpTo(address, r.token, req.verb, req.path, req.body)
	var out outcome
	if got.header.Get("Content-Type") == "application/problem+json" {
		out.err = decodeProblem(t, got.body)
		return out
	}
	if !m.IsStreamingServer() {
		out.answers = append(out.answers, unmarshal(t, m, got.body))
		return out
	}
	for _, line := range strings.Split(strings.TrimSpace(string(got.body)), "\n") {
		var wrapped struct{ Result, Error json.RawMessage }
		if err := json.Unmarshal([]byte(line), &wrapped); err != nil {
			t.Fatalf("line of a stream: %v\n%s", err, line)
		}
		if wrapped.Error != nil {
			out.err = &rpcstatus.Status{}
			if err := protojson.Unmarshal(wrapped.Error, out.err); err != nil {
				t.Fatalf("error of a stream: %v\n%s", err, line)
			}
			continue
		}
		out.answers = append(out.answers, unmarshal(t, m, wrapped.Result))
	}
	return out
}

func unmarshal(t testing.TB, m protoreflect.MethodDescriptor, b []byte) proto.Message {
	t.Helper()
	answer := dynamicpb.NewMessage(m.Output())
	if err := protojson.Unmarshal(b, answer); err != nil {
		t.Fatalf("answer is not a %s: %v\n%s", m.Output().Name(), err, b)
	}
	return answer
}
