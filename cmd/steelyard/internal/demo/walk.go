package demo

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/backfill"
)

// Visit is one recommendation and what was decided on it.
type Visit struct {
	Scenario Scenario
	Day      time.Time
	Why      string // of a look between reviews; empty at a review
	Given    *steelyardv1.Recommendation
	Decided  *steelyardv1.Decision // nil when nothing changed
}

// Player plays scenarios against a server.
type Player struct {
	trainees steelyardv1.TraineeServiceClient
	log      steelyardv1.LogbookServiceClient
	phases   steelyardv1.PhaseServiceClient
}

// NewPlayer plays over a connection.
func NewPlayer(conn grpc.ClientConnInterface) Player {
	return Player{
		trainees: steelyardv1.NewTraineeServiceClient(conn),
		log:      steelyardv1.NewLogbookServiceClient(conn),
		phases:   steelyardv1.NewPhaseServiceClient(conn),
	}
}

// Enter creates the trainee and the plan.
func (p Player) Enter(ctx context.Context, sc Scenario) error {
	if _, err := p.trainees.CreateTrainee(ctx, &steelyardv1.CreateTraineeRequest{TraineeId: sc.TraineeID, Trainee: sc.Trainee}); err != nil {
		return fmt.Errorf("create trainee: %w", err)
	}
	if _, err := p.phases.CreatePlan(ctx, &steelyardv1.CreatePlanRequest{Parent: "trainees/" + sc.TraineeID, PlanId: sc.PlanID, Plan: sc.Plan}); err != nil {
		return fmt.Errorf("create plan: %w", err)
	}
	return nil
}

// Backfill sends the log, and word of the pictures that were taken.
func (p Player) Backfill(ctx context.Context, sc Scenario) error {
	if err := p.pictures(ctx, sc); err != nil {
		return fmt.Errorf("pictures: %w", err)
	}
	for _, part := range sc.Log.Parts {
		r, err := backfill.Client{Log: p.log}.Send(ctx, backfill.Upload{Trainee: part.Trainee, SHA256: sc.Log.SHA256, Entries: part.Entries()})
		if err != nil {
			return fmt.Errorf("backfill: %w", err)
		}
		for _, x := range r.Refused {
			return fmt.Errorf("backfill: %s", sc.Log.Explain(part.Items[x.Index], x.Field, x.Problem))
		}
	}
	return nil
}

// pictures logs that pictures were taken. They stay with the caller; what is
// sent is a reference.
func (p Player) pictures(ctx context.Context, sc Scenario) error {
	var entries []*steelyardv1.Entry
	for _, day := range sc.Pictures {
		entries = append(entries, &steelyardv1.Entry{
			Date: toDate(day),
			Fact: &steelyardv1.Entry_PhotoSet{PhotoSet: &steelyardv1.PhotoSet{Reference: sc.TraineeID + "/" + day.Format(time.DateOnly)}},
		})
	}
	if len(entries) == 0 {
		return nil
	}
	_, err := p.log.BatchCreateEntries(ctx, &steelyardv1.BatchCreateEntriesRequest{Parent: "trainees/" + sc.TraineeID, Entries: entries})
	return err
}

// mostVisits bounds a walk, whatever the server answers.
const mostVisits = 200

// Walk asks for a recommendation on the plan's first day, then on each day that
// the answers name as the next review, and on the scenario's looks between
// them; it decides as recommended. before, which may be nil, is called ahead of
// each question, see after it.
func (p Player) Walk(ctx context.Context, sc Scenario, before func(day time.Time) error, see func(Visit) error) error {
	looks := sc.Looks
	day := fromDate(sc.Plan.GetStartDate())
	for range mostVisits {
		v := Visit{Scenario: sc, Day: day}
		if len(looks) > 0 && !looks[0].Day.After(day) {
			v.Day, v.Why = looks[0].Day, looks[0].Why
			looks = looks[1:]
		}
		if v.Day.After(sc.LastDay) {
			return nil
		}
		if before != nil {
			if err := before(v.Day); err != nil {
				return err
			}
		}
		if err := p.ask(ctx, &v); err != nil {
			return fmt.Errorf("%s on %s: %w", sc.PlanName(), v.Day.Format(time.DateOnly), err)
		}
		if err := see(v); err != nil {
			return err
		}
		next := v.Given.GetNextReviewDate()
		switch {
		case next != nil && fromDate(next).After(v.Day):
			day = fromDate(next)
		case len(looks) > 0:
			day = looks[0].Day
		default:
			return nil // nothing more is to be asked, as after a referral
		}
	}
	return fmt.Errorf("%s: more than %d reviews", sc.PlanName(), mostVisits)
}

// ask gets the recommendation and follows it. A review that leaves the target as
// it is is decided too; one that is to be asked again within the week stays open.
func (p Player) ask(ctx context.Context, v *Visit) error {
	var err error
	v.Given, err = p.phases.Recommend(ctx, &steelyardv1.RecommendRequest{Name: v.Scenario.PlanName(), AsOfDate: toDate(v.Day)})
	if err != nil {
		return fmt.Errorf("recommend: %w", err)
	}
	target := v.Given.GetProposedTarget()
	for _, o := range v.Given.GetOptions() {
		if o.GetIsRecommended() {
			target = o.GetTarget()
		}
	}
	if target == nil && isDone(v) {
		target = v.Given.GetCurrentTarget()
	}
	if target == nil {
		return nil
	}
	v.Decided, err = p.phases.CreateDecision(ctx, &steelyardv1.CreateDecisionRequest{
		Parent: v.Scenario.PlanName(),
		Decision: &steelyardv1.Decision{
			FromDate: toDate(v.Day), Action: v.Given.GetAction(), Target: target,
			DecidedBy: "demo", AnswersRecommendation: true,
		},
	})
	if err != nil {
		return fmt.Errorf("decide: %w", err)
	}
	return nil
}

// isDone reports whether a review is over with its answer.
func isDone(v *Visit) bool {
	next := v.Given.GetNextReviewDate()
	return v.Given.GetIsReviewDue() && next != nil && !fromDate(next).Before(v.Day.AddDate(0, 0, 7))
}

// Timeline gets the story of a plan on the scenario's last day.
func (p Player) Timeline(ctx context.Context, sc Scenario) (*steelyardv1.Timeline, error) {
	tl, err := p.phases.GetTimeline(ctx, &steelyardv1.GetTimelineRequest{Name: sc.PlanName(), AsOfDate: toDate(sc.LastDay)})
	if err != nil {
		return nil, fmt.Errorf("timeline: %w", err)
	}
	return tl, nil
}

func toDate(t time.Time) *date.Date {
	return &date.Date{Year: int32(t.Year()), Month: int32(t.Month()), Day: int32(t.Day())}
}

func fromDate(d *date.Date) time.Time {
	return time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, time.UTC)
}
