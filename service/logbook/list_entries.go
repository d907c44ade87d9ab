package logbook

import (
	"context"
	"math"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// ListEntries lists entries by day, kind, key.
func (s *Server) ListEntries(ctx context.Context, req *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	q, err := s.entryQuery(ctx, req)
	if err != nil {
		return nil, err
	}
	trainee := convert.TraineeFrom(req.GetParent())
	out := &pb.ListEntriesResponse{}
	limit := q.Limit
	q.Limit++ // one more tells whether there is another page
	err = s.Store.View(ctx, call.Scope(ctx, trainee), func(v store.View) error {
		entries, err := v.Entries(q)
		if err != nil {
			return err
		}
		out.Revision = convert.Revision(v.Head())
		if len(entries) > limit {
			entries = entries[:limit]
			out.NextPageToken = s.Pages.Next(ctx, req, convert.EntryName(trainee, entries[limit-1].ID()))
		}
		for _, e := range entries {
			out.Entries = append(out.Entries, convert.EntryToProto(trainee, e))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}

func (s *Server) entryQuery(ctx context.Context, req *pb.ListEntriesRequest) (store.EntryQuery, error) {
	q := store.EntryQuery{From: 0, To: math.MaxInt32, Kinds: convert.KindsFromProto(req.GetKinds())}
	from, err := convert.OptDayFromProto(req.GetStartDate(), "start_date")
	if err != nil {
		return q, err
	}
	to, err := convert.OptDayFromProto(req.GetEndDate(), "end_date")
	if err != nil {
		return q, err
	}
	if from.OK {
		q.From = from.Day
	}
	if to.OK {
		q.To = to.Day
	}
	if q.To < q.From {
		return q, fault.InvalidField("end_date", "lies before start_date")
	}
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return q, err
	}
	q.Limit = limit
	if after != "" {
		id, err := convert.EntryIDFrom(after, "page_token")
		if err != nil {
			return q, err
		}
		q.After = &id
	}
	return q, nil
}
