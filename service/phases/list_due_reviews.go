package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// ListDueReviews lists who of the tenant is due a talk on a day, from what each
// trainee's last write has left; it reads no log.
func (s *Server) ListDueReviews(ctx context.Context, req *pb.ListDueReviewsRequest) (*pb.ListDueReviewsResponse, error) {
	q, err := s.dueQuery(ctx, req)
	if err != nil {
		return nil, err
	}
	limit := q.Limit
	q.Limit++ // one more tells whether there is another page
	due, err := s.Store.DueTalks(ctx, call.Scope(ctx, "").Tenant, q)
	if err != nil {
		return nil, err
	}
	out := &pb.ListDueReviewsResponse{Cautions: convert.CautionsToProto(phase.GeneralCautions())}
	if len(due) > limit {
		due = due[:limit]
		out.NextPageToken = s.Pages.Next(ctx, req, convert.DuePlace(due[limit-1].Place))
	}
	for _, d := range due {
		out.DueReviews = append(out.DueReviews, convert.DueReviewToProto(d))
	}
	return out, nil
}

func (s *Server) dueQuery(ctx context.Context, req *pb.ListDueReviewsRequest) (store.DueQuery, error) {
	asOf, err := convert.OptDayFromProto(req.GetAsOfDate(), "as_of_date")
	if err != nil {
		return store.DueQuery{}, err
	}
	if !asOf.OK { // a tenant's trainees live in many zones
		if asOf.Day, err = convert.Today(s.Now(), convert.DefaultZone); err != nil {
			return store.DueQuery{}, err
		}
	}
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return store.DueQuery{}, err
	}
	q := store.DueQuery{AsOf: asOf.Day, Reasons: convert.DueReasonsFromProto(req.GetReasons()), Limit: limit}
	if after != "" {
		place, err := convert.DuePlaceFrom(after, "page_token")
		if err != nil {
			return store.DueQuery{}, err
		}
		q.After = &place
	}
	return q, nil
}
