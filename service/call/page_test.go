package call

import (
	"encoding/base64"
	"errors"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
)

func TestPage_Limit(t *testing.T) {
	for size, want := range map[int32]int{0: 100, 1: 1, 100: 100, 1000: 1000, 1001: 1000, 1<<31 - 1: 1000} {
		limit, after, err := Page(&pb.ListPlansRequest{Parent: "trainees/t1", PageSize: size})
		if err != nil || limit != want || after != "" {
			t.Errorf("page size %d: %d, %q, %v, want %d from the start", size, limit, after, err, want)
		}
	}
}

func TestPage_GoesOnAfterTheTokensThing(t *testing.T) {
	req := &pb.ListEntriesRequest{Parent: "trainees/t1", Kinds: []pb.EntryKind{1, 3}, StartDate: &date.Date{Year: 2026, Month: 3, Day: 1}, PageSize: 10}
	for _, after := range []string{"trainees/t1/entries/2026-03-01-weigh-in-1", "p", "with \"quotes\" and \x00", "żółw"} {
		req.PageToken = NextPage(req, after)
		if _, got, err := Page(req); err != nil || got != after {
			t.Errorf("token after %q goes on after %q, %v", after, got, err)
		}
		req.PageSize++ // the size is not part of what is listed
		if _, got, err := Page(req); err != nil || got != after {
			t.Errorf("with another page size: %q, %v", got, err)
		}
		if strings.ContainsAny(req.PageToken, "+/=&?# ") {
			t.Errorf("token %q does not fit into a URL", req.PageToken)
		}
	}
}

func TestPage_RefusesForeignTokens(t *testing.T) {
	req := &pb.ListEntriesRequest{Parent: "trainees/t1"}
	token := NextPage(req, "x")
	encode := base64.RawURLEncoding.EncodeToString
	for name, other := range map[string]pager{
		"another trainee":                 &pb.ListEntriesRequest{Parent: "trainees/t2", PageToken: token},
		"a date more":                     &pb.ListEntriesRequest{Parent: "trainees/t1", EndDate: &date.Date{Year: 2026, Month: 3, Day: 1}, PageToken: token},
		"a kind more":                     &pb.ListEntriesRequest{Parent: "trainees/t1", Kinds: []pb.EntryKind{1}, PageToken: token},
		"another listing":                 &pb.ListPlansRequest{Parent: "trainees/t1", PageToken: token},
		"another listing, same arguments": &pb.ListDecisionsRequest{Parent: "trainees/t1", PageToken: NextPage(&pb.ListPlansRequest{Parent: "trainees/t1"}, "x")},
		"not base64":                      &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: "%%%"},
		"padded":                          &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: token + "="},
		"cut short":                       &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: token[:len(token)-2]},
		"not JSON":                        &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: encode([]byte("x"))},
		"JSON null":                       &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: encode([]byte("null"))},
		"JSON array":                      &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: encode([]byte("[]"))},
		"after nothing":                   &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: NextPage(req, "")},
		"bytes that are not text":         &pb.ListEntriesRequest{Parent: "trainees/t1", PageToken: encode([]byte("\xff\xfe"))},
	} {
		limit, after, err := Page(other)
		var invalid *fault.Invalid
		if !errors.As(err, &invalid) || invalid.Fields[0].Path != "page_token" || limit != 0 || after != "" {
			t.Errorf("%s: %d, %q, %v", name, limit, after, err)
		}
	}
}
