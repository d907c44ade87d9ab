package trainees

import (
	"fmt"
	"math"

	"google.golang.org/grpc"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// exportPage is how many rows are read at a time.
const exportPage = 1000

// ExportTrainee sends everything held of a trainee, as it stood at one head:
// the trainee, each plan with its decisions, the entries, and the manifest. A
// caller without the manifest does not have everything.
func (s *Server) ExportTrainee(req *pb.ExportTraineeRequest, stream grpc.ServerStreamingServer[pb.ExportTraineeResponse]) error {
	ctx := stream.Context()
	trainee := convert.TraineeFrom(req.GetName())
	return s.Store.View(ctx, call.Scope(ctx, trainee), func(v store.View) error {
		today, err := convert.Today(s.Now(), v.Trainee().TimeZone)
		if err != nil {
			return fmt.Errorf("trainee's zone: %w", err)
		}
		x := exporter{trainee: trainee, view: v, today: today, stream: stream, manifest: &pb.ExportManifest{Revision: convert.Revision(v.Head())}}
		for _, part := range []func() error{x.person, x.plans, x.entries} {
			if err := part(); err != nil {
				return err
			}
		}
		return stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Manifest{Manifest: x.manifest}})
	})
}

// exporter sends one trainee's records and counts them.
type exporter struct {
	trainee  string
	view     store.View
	today    engine.Day
	stream   grpc.ServerStreamingServer[pb.ExportTraineeResponse]
	manifest *pb.ExportManifest
}

func (x *exporter) person() error {
	t := convert.TraineeToProto(x.view.Trainee(), x.view.Head())
	return x.stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Trainee{Trainee: t}})
}

func (x *exporter) plans() error {
	for after := ""; ; {
		plans, err := x.view.Plans(after, exportPage)
		if err != nil {
			return err
		}
		for _, p := range plans {
			x.manifest.PlanCount++
			out := convert.PlanToProto(x.trainee, p, x.view.Head(), x.today)
			if err := x.stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Plan{Plan: out}}); err != nil {
				return err
			}
			if err := x.decisions(p.ID); err != nil {
				return err
			}
		}
		if len(plans) < exportPage {
			return nil
		}
		after = plans[len(plans)-1].ID
	}
}

func (x *exporter) decisions(plan string) error {
	for after := ""; ; {
		decisions, err := x.view.Decisions(plan, after, exportPage)
		if err != nil {
			return err
		}
		for _, d := range decisions {
			x.manifest.DecisionCount++
			given, err := convert.Given(d)
			if err != nil {
				return err
			}
			out := convert.DecisionToProto(x.trainee, plan, d, given, x.view.Head())
			if err := x.stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Decision{Decision: out}}); err != nil {
				return err
			}
		}
		if len(decisions) < exportPage {
			return nil
		}
		after = decisions[len(decisions)-1].ID
	}
}

func (x *exporter) entries() error {
	q := store.EntryQuery{From: 0, To: math.MaxInt32, Limit: exportPage}
	for {
		entries, err := x.view.Entries(q)
		if err != nil {
			return err
		}
		for _, e := range entries {
			x.manifest.EntryCount++
			out := convert.EntryToProto(x.trainee, e)
			if err := x.stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Entry{Entry: out}}); err != nil {
				return err
			}
		}
		if len(entries) < exportPage {
			return nil
		}
		last := entries[len(entries)-1].ID()
		q.After = &last
	}
}
