package gateway

import (
	"net/url"
	"strings"
	"testing"

	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// inPath is the filter of a request whose path sets these fields.
func inPath(fields ...string) *utilities.DoubleArray {
	var seqs [][]string
	for _, f := range fields {
		seqs = append(seqs, strings.Split(f, "."))
	}
	return utilities.NewDoubleArray(seqs)
}

func TestQueryParser_ReadsWhatTheRequestHas(t *testing.T) {
	march1 := &date.Date{Year: 2026, Month: 3, Day: 1}
	for _, c := range []struct {
		query string
		want  proto.Message
	}{
		{"", &pb.ListEntriesRequest{}},
		{"pageSize=3", &pb.ListEntriesRequest{PageSize: 3}},
		{"page_size=3", &pb.ListEntriesRequest{PageSize: 3}},
		{"startDate=2026-03-01", &pb.ListEntriesRequest{StartDate: march1}},
		{"start_date=2026-03-01&end_date=2026-03-01", &pb.ListEntriesRequest{StartDate: march1, EndDate: march1}},
		{"startDate.year=2026&startDate.month=3&startDate.day=1", &pb.ListEntriesRequest{StartDate: march1}},
		{"start_date.year=2026&startDate.month=3&start_date.day=1", &pb.ListEntriesRequest{StartDate: march1}},
		{"kinds=ENTRY_KIND_TAPE", &pb.ListEntriesRequest{Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_TAPE}}},
		{"kinds=ENTRY_KIND_TAPE&kinds=9", &pb.ListEntriesRequest{Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_TAPE, pb.EntryKind_ENTRY_KIND_MARK}}},
		{"updateMask=heightCm,sex", &pb.UpdateTraineeRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"heightCm", "sex"}}}},
	} {
		for range 20 { // a query is a map: its order must not matter
			got := c.want.ProtoReflect().New().Interface()
			if err := (queryParser{}).Parse(got, values(t, c.query), inPath("parent", "trainee")); err != nil {
				t.Fatalf("%s: %v", c.query, err)
			}
			if !proto.Equal(got, c.want) {
				t.Fatalf("%s: %v, want %v", c.query, got, c.want)
			}
		}
	}
}

// TestQueryParser_ADateIsItsParts: a date alone is read by a short cut, one beside
// another parameter by the long way; both are the date of its parts.
func TestQueryParser_ADateIsItsParts(t *testing.T) {
	for _, c := range []struct {
		req    proto.Message
		fields []string // in both spellings
	}{
		{&pb.RecommendRequest{}, []string{"asOfDate", "as_of_date"}},
		{&pb.ForecastRequest{}, []string{"asOfDate", "as_of_date"}},
		{&pb.ListEntriesRequest{}, []string{"startDate", "start_date", "endDate", "end_date"}},
	} {
		for _, field := range c.fields {
			for _, iso := range []string{"2026-03-01", "2024-02-29", "1900-01-01", "9999-12-31", "0001-01-01", "2026-2-1", "2026-02-30", "", "x", " 2026-03-01"} {
				parse := func(query string) (proto.Message, error) {
					got := c.req.ProtoReflect().New().Interface()
					return got, queryParser{}.Parse(got, values(t, query), inPath("name", "parent"))
				}
				got, err := parse(field + "=" + url.QueryEscape(iso))
				long := field + "=" + url.QueryEscape(iso) + "&atLeastRevision=aa-1"
				if _, is := c.req.(*pb.ListEntriesRequest); is {
					long = field + "=" + url.QueryEscape(iso) + "&pageSize=3"
				}
				byLong, longErr := parse(long)
				if (err == nil) != (longErr == nil) || (err != nil && err.Error() != longErr.Error()) {
					t.Errorf("%s=%s: %v, and %v", field, iso, err, longErr)
				}
				if err != nil {
					continue
				}
				for _, name := range []protoreflect.Name{"at_least_revision", "page_size"} { // this other one aside, nothing may differ
					if f := byLong.ProtoReflect().Descriptor().Fields().ByName(name); f != nil {
						byLong.ProtoReflect().Clear(f)
					}
				}
				year, month, day := strings.TrimLeft(iso[:4], "0"), strings.TrimLeft(iso[5:7], "0"), strings.TrimLeft(iso[8:], "0")
				parts, err := parse(field + ".year=" + year + "&" + field + ".month=" + month + "&" + field + ".day=" + day)
				if err != nil || !proto.Equal(got, parts) || !proto.Equal(byLong, parts) {
					t.Errorf("%s=%s: %v, beside another %v, of its parts %v, %v", field, iso, got, byLong, parts, err)
				}
			}
		}
	}
}

func TestQueryParser_RefusesTheRest(t *testing.T) {
	for _, c := range []struct{ query, want string }{
		{"pageSzie=3", `query parameter "pageSzie" is not a query parameter of this request`},
		{"startDate.yaer=3", `query parameter "startDate.yaer" is not a query parameter of this request`},
		{"pageSize.x=3", `query parameter "pageSize.x" is not a query parameter of this request`},
		{"kinds.x=3", `query parameter "kinds.x" is not a query parameter of this request`},
		{"kinds[a]=3", `query parameter "kinds[a]" is not a query parameter of this request`},
		{"=3", `query parameter "" is not a query parameter of this request`},
		{".=3", `query parameter "." is not a query parameter of this request`},
		{"parent=trainees/t2", `query parameter "parent" is not a query parameter of this request`},
		{"pageSize=3&pageSize=4", `query parameter "pageSize" is given more than once`},
		{"startDate=2026-03-01&startDate=2026-03-02", `query parameter "startDate" is given more than once`},
		{"startDate=2026-02-30", `query parameter "start_date" must be a calendar date of the form 2026-03-01`},
		{"startDate=1.3.2026", `query parameter "start_date" must be a calendar date of the form 2026-03-01`},
		{"startDate=", `query parameter "start_date" must be a calendar date of the form 2026-03-01`},
		{"startDate=2026-03-01&startDate.day=4", `query parameter "start_date" is given both whole and in parts`},
		{"startDate=2026-03-01&start_date.day=4", `query parameter "(query)" has a parameter that does not have the form of its field`},
		{"pageSize=3&page_size=4", `query parameter "(query)" has a parameter that does not have the form of its field`},
		{"pageSize=many", `query parameter "(query)" has a parameter that does not have the form of its field`},
		{"kinds=ENTRY_KIND_DANCE", `query parameter "(query)" has a parameter that does not have the form of its field`},
		{"b=1&a=2&c=3", `query parameter "a" is not a query parameter of this request`},
	} {
		for range 20 {
			err := queryParser{}.Parse(&pb.ListEntriesRequest{}, values(t, c.query), inPath("parent"))
			if err == nil || err.Error() != c.want {
				t.Fatalf("%s: %v, want %s", c.query, err, c.want)
			}
		}
	}
}

// TestQueryParser_LeavesTheBodyAlone: what lies in the body does not come by the query.
func TestQueryParser_LeavesTheBodyAlone(t *testing.T) {
	req := &pb.UpdatePlanRequest{}
	for _, query := range []string{"plan.startDate=2026-03-01", "plan.name=trainees/t2/plans/p", "plan=x"} {
		if err := (queryParser{}).Parse(req, values(t, query), inPath("plan", "plan.name")); err == nil || !proto.Equal(req, &pb.UpdatePlanRequest{}) {
			t.Errorf("%s: %v, %v", query, req, err)
		}
	}
}

// FuzzQueryParser: whatever the query, the answer is the same twice, and a
// refusal reads back as an error that names a parameter.
func FuzzQueryParser(f *testing.F) {
	for _, s := range []string{"", "pageSize=3", "startDate=2026-03-01&startDate.day=4", "a%00=1", "kinds=1&kinds=x", "%ff=%fe", `"=1`, "a.b.c=1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, query string) {
		v, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		first, second := &pb.ListEntriesRequest{}, &pb.ListEntriesRequest{}
		errFirst := queryParser{}.Parse(first, v, inPath("parent"))
		errSecond := queryParser{}.Parse(second, v, inPath("parent"))
		if (errFirst == nil) != (errSecond == nil) || (errFirst != nil && errFirst.Error() != errSecond.Error()) {
			t.Errorf("%q: %v, then %v", query, errFirst, errSecond)
		}
		if errFirst == nil && !proto.Equal(first, second) {
			t.Errorf("%q: %v, then %v", query, first, second)
		}
		if first.GetParent() != "" {
			t.Errorf("%q sets the parent", query)
		}
		if errFirst != nil && badParameter.FindStringSubmatch(errFirst.Error()) == nil {
			t.Errorf("%q: %v does not read back", query, errFirst)
		}
	})
}

func values(t *testing.T, query string) url.Values {
	t.Helper()
	v, err := url.ParseQuery(query)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
