package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// What a plan's story reads of the log: what a recommendation for its day reads,
// so that both see the same stage, the whole plan, and the four weeks before it
// against which strength is held; of a plan that is very long its last part.
const (
	beforePlanDays = 28
	storyDays      = 800
)

// GetTimeline tells the story of a plan, open or closed.
func (s *Server) GetTimeline(ctx context.Context, req *pb.GetTimelineRequest) (*pb.Timeline, error) {
	sc, planID := call.Scope(ctx, convert.TraineeFrom(req.GetName())), convert.PlanFrom(req.GetName())
	var plan store.Plan
	p, err := s.atOneHead(ctx, sc,
		func(v store.View) (err error) {
			plan, err = v.Plan(planID)
			return err
		},
		func() (call.Present, error) {
			return call.AsOf{
				Date: req.GetAsOfDate(), Field: "as_of_date", Ahead: recommendAhead, Now: s.Now(),
				First: func(asOf engine.Day) engine.Day {
					return max(min(plan.Start-beforePlanDays, asOf-rollingDays), asOf-storyDays)
				},
			}.Read(ctx, s.Windows, sc)
		})
	if err != nil {
		return nil, err
	}
	out := convert.TimelineToProto(req.GetName(), phase.Timeline(p.Snapshot.Window, p.Snapshot.Trainee.Profile, plan.Plan, p.AsOf))
	out.Revision, out.Source = convert.Revision(p.Snapshot.Head), convert.OriginToProto(p.Origin)
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
