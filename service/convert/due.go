package convert

import (
	"fmt"
	"strconv"
	"strings"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// DueReasonsFromProto reads the reasons that a list asks for.
func DueReasonsFromProto(reasons []pb.DueReason) []phase.DueReason {
	var out []phase.DueReason
	for _, r := range reasons {
		out = append(out, phase.DueReason(r))
	}
	return out
}

// DueReviewToProto writes why a trainee is due a talk.
func DueReviewToProto(d store.DueTalk) *pb.DueReview {
	return &pb.DueReview{
		Plan: PlanName(d.Place.Trainee, d.Plan), Reason: pb.DueReason(d.Reason), DueDate: DayToProto(d.From), Line: d.Line,
	}
}

// DuePlace writes a place in a tenant's list for a page token.
func DuePlace(p store.DuePlace) string { return fmt.Sprintf("%d/%s/%d", p.From, p.Trainee, p.Seq) }

// DuePlaceFrom reads a place; field names it in the error.
func DuePlaceFrom(text, field string) (store.DuePlace, error) {
	invalid := fault.InvalidField(field, "is no place in a list")
	parts := strings.Split(text, "/")
	if len(parts) != 3 {
		return store.DuePlace{}, invalid
	}
	from, err := strconv.ParseInt(parts[0], 10, 32)
	if err != nil {
		return store.DuePlace{}, invalid
	}
	seq, err := strconv.ParseInt(parts[2], 10, 32)
	if err != nil {
		return store.DuePlace{}, invalid
	}
	return store.DuePlace{From: engine.Day(from), Trainee: parts[1], Seq: int(seq)}, nil
}
