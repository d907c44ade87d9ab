package trainees

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/grpc"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// exportPage is how many rows are read at a time.
const exportPage = 1000

// ExportTrainee sends everything held of a trainee, as it stood at one head:
// the trainee, each plan with its decisions, the entries, and the manifest. A
// caller without the manifest does not have everything.
//
// Each page is a read of its own, since a caller who reads slowly must not hold
// a transaction open; when something was written meanwhile the export ends.
func (s *Server) ExportTrainee(req *pb.ExportTraineeRequest, stream grpc.ServerStreamingServer[pb.ExportTraineeResponse]) error {
	x := exporter{
		server: s, ctx: stream.Context(), scope: call.Scope(stream.Context(), convert.TraineeFrom(req.GetName())),
		send: stream.Send, manifest: &pb.ExportManifest{},
	}
	for _, part := range []func() error{x.record, x.person, x.plans, x.entries} {
		if err := part(); err != nil {
			return err
		}
	}
	return stream.Send(&pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Manifest{Manifest: x.manifest}})
}

// exporter sends one trainee's records and counts them.
type exporter struct {
	server   *Server
	ctx      context.Context
	scope    store.Scope
	send     func(*pb.ExportTraineeResponse) error
	head     store.Head // of the first page
	manifest *pb.ExportManifest
}

// page reads some records at the export's head and then sends them.
func (x *exporter) page(read func(v store.View) ([]*pb.ExportTraineeResponse, error)) (sent int, err error) {
	var records []*pb.ExportTraineeResponse
	err = x.server.Store.View(x.ctx, x.scope, func(v store.View) error {
		if x.head == (store.Head{}) {
			x.head, x.manifest.Revision = v.Head(), convert.Revision(v.Head())
		}
		if v.Head() != x.head {
			return &fault.Conflict{Reason: "DATA_CHANGING", Sentence: "something was written during the export; please begin again"}
		}
		records, err = read(v)
		return err
	})
	for _, r := range records {
		if err == nil {
			err = x.send(r)
		}
	}
	return len(records), err
}

// record puts the export on the audit trail before anything leaves, so that one that
// breaks off is there too.
func (x *exporter) record() error {
	by := trail.Of(x.ctx, "ExportTrainee", convert.TraineeName(x.scope.Trainee), x.server.Now())
	x.manifest.Receipt = by.ID
	return x.server.Store.AddAudit(x.ctx, x.scope, by)
}

func (x *exporter) person() error {
	_, err := x.page(func(v store.View) ([]*pb.ExportTraineeResponse, error) {
		trainee, err := v.Trainee()
		if err != nil {
			return nil, err
		}
		t := convert.TraineeToProto(trainee, v.Head())
		return []*pb.ExportTraineeResponse{{Record: &pb.ExportTraineeResponse_Trainee{Trainee: t}}}, nil
	})
	return err
}

func (x *exporter) plans() error {
	after := ""
	for {
		var ids []string
		n, err := x.page(func(v store.View) (out []*pb.ExportTraineeResponse, err error) {
			today, err := convert.Today(x.server.Now(), v.TimeZone())
			if err != nil {
				return nil, fmt.Errorf("trainee's zone: %w", err)
			}
			plans, err := v.Plans(after, exportPage)
			for _, p := range plans {
				ids = append(ids, p.ID)
				out = append(out, &pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Plan{
					Plan: convert.PlanToProto(x.scope.Trainee, p, v.Head(), today),
				}})
			}
			return out, err
		})
		if err != nil {
			return err
		}
		x.manifest.PlanCount += int32(n)
		for _, id := range ids {
			if err := x.decisions(id); err != nil {
				return err
			}
		}
		if n < exportPage {
			return nil
		}
		after = ids[n-1]
	}
}

func (x *exporter) decisions(plan string) error {
	after := ""
	for {
		n, err := x.page(func(v store.View) (out []*pb.ExportTraineeResponse, err error) {
			decisions, err := v.Decisions(plan, after, exportPage)
			for _, d := range decisions {
				after = d.ID
				given, err := convert.Given(d)
				if err != nil {
					return nil, err
				}
				out = append(out, &pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Decision{
					Decision: convert.DecisionToProto(x.scope.Trainee, plan, d, given, v.Head()),
				}})
			}
			return out, err
		})
		x.manifest.DecisionCount += int32(n)
		if err != nil || n < exportPage {
			return err
		}
	}
}

func (x *exporter) entries() error {
	q := store.EntryQuery{From: 0, To: engine.Day(math.MaxInt32), Limit: exportPage}
	for {
		n, err := x.page(func(v store.View) (out []*pb.ExportTraineeResponse, err error) {
			entries, err := v.Entries(q)
			for _, e := range entries {
				last := e.ID()
				q.After = &last
				out = append(out, &pb.ExportTraineeResponse{Record: &pb.ExportTraineeResponse_Entry{
					Entry: convert.EntryToProto(x.scope.Trainee, e),
				}})
			}
			return out, err
		})
		x.manifest.EntryCount += int32(n)
		if err != nil || n < exportPage {
			return err
		}
	}
}
