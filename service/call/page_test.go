package call_test

import (
	"context"
	"encoding/base64"
	"errors"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/fault"
)

// listing is a request for a page.
type listing interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

var pager = call.Pager{Secret: []byte("a secret of thirty-two characters")}

func of(t *testing.T, tenant string) context.Context {
	t.Helper()
	return access.With(t.Context(), access.Principal{Tenant: tenant})
}

func TestPage_Limit(t *testing.T) {
	for size, want := range map[int32]int{0: 100, 1: 1, 100: 100, 1000: 1000, 1001: 1000, 1<<31 - 1: 1000} {
		limit, after, err := pager.Page(of(t, "a"), &pb.ListPlansRequest{Parent: "trainees/t1", PageSize: size})
		if err != nil || limit != want || after != "" {
			t.Errorf("page size %d: %d, %q, %v, want %d from the start", size, limit, after, err, want)
		}
	}
}

func TestPage_GoesOnAfterTheTokensThing(t *testing.T) {
	ctx := of(t, "a")
	req := &pb.ListEntriesRequest{Parent: "trainees/t1", Kinds: []pb.EntryKind{1, 3}, StartDate: &date.Date{Year: 2026, Month: 3, Day: 1}, PageSize: 10}
	for _, after := range []string{"trainees/t1/entries/2026-03-01-weigh-in-1", "p", "with \"quotes\" and \x00", "żółw"} {
		req.PageToken = pager.Next(ctx, req, after)
		if _, got, err := pager.Page(ctx, req); err != nil || got != after {
			t.Errorf("token after %q goes on after %q, %v", after, got, err)
		}
		req.PageSize++ // the size is not part of what is listed
		if _, got, err := pager.Page(ctx, req); err != nil || got != after {
			t.Errorf("with another page size: %q, %v", got, err)
		}
		if strings.ContainsAny(req.PageToken, "+/=&?# ") {
			t.Errorf("token %q does not fit into a URL", req.PageToken)
		}
	}
}

func TestPage_RefusesForeignTokens(t *testing.T) {
	req := &pb.ListEntriesRequest{Parent: "trainees/t1"}
	token := pager.Next(of(t, "a"), req, "x")
	encode := base64.RawURLEncoding.EncodeToString
	plans, due := &pb.ListPlansRequest{Parent: "trainees/t1"}, &pb.ListDueReviewsRequest{}
	for _, c := range []struct {
		name, tenant string
		req          proto.Message
		token        string
	}{
		{"another tenant", "b", req, token},
		{"another tenant, a listing without arguments", "b", due, pager.Next(of(t, "a"), due, "x")},
		{"no tenant", "", req, token},
		{"another secret", "a", req, call.Pager{Secret: []byte("another")}.Next(of(t, "a"), req, "x")},
		{"no secret", "a", req, call.Pager{}.Next(of(t, "a"), req, "x")},
		{"another trainee", "a", &pb.ListEntriesRequest{Parent: "trainees/t2"}, token},
		{"a date more", "a", &pb.ListEntriesRequest{Parent: "trainees/t1", EndDate: &date.Date{Year: 2026, Month: 3, Day: 1}}, token},
		{"a kind more", "a", &pb.ListEntriesRequest{Parent: "trainees/t1", Kinds: []pb.EntryKind{1}}, token},
		{"another listing", "a", plans, token},
		{"another listing, same arguments", "a", &pb.ListDecisionsRequest{Parent: "trainees/t1"}, pager.Next(of(t, "a"), plans, "x")},
		{"not base64", "a", req, "%%%"},
		{"padded", "a", req, token + "="},
		{"with a line break, which base64 passes over", "a", req, token[:4] + "\n" + token[4:]},
		{"cut short", "a", req, token[:len(token)-2]},
		{"a seal alone", "a", req, token[:22]},
		{"after nothing", "a", req, pager.Next(of(t, "a"), req, "")},
		{"a place without a seal", "a", req, encode([]byte("trainees/t1/entries/2026-03-01-weigh-in-1"))},
		{"bytes that are not text", "a", req, encode([]byte("\xff\xfe"))},
	} {
		asked := proto.Clone(c.req).(listing)
		field := asked.ProtoReflect().Descriptor().Fields().ByName("page_token")
		asked.ProtoReflect().Set(field, protoreflect.ValueOfString(c.token))
		limit, after, err := pager.Page(of(t, c.tenant), asked)
		var invalid *fault.Invalid
		if !errors.As(err, &invalid) || invalid.Fields[0].Path != "page_token" || limit != 0 || after != "" {
			t.Errorf("%s: %d, %q, %v", c.name, limit, after, err)
		}
	}
}

// Each byte of a token counts, and each of its bits.
func TestPage_RefusesAFlippedBit(t *testing.T) {
	ctx, req := of(t, "a"), &pb.ListPlansRequest{Parent: "trainees/t1"}
	token := []byte(pager.Next(ctx, req, "cut"))
	for i := range token {
		for bit := range 8 {
			bad := append([]byte(nil), token...)
			bad[i] ^= 1 << bit
			req.PageToken = string(bad)
			if _, after, err := pager.Page(ctx, req); err == nil {
				t.Errorf("byte %d, bit %d: goes on after %q", i, bit, after)
			}
		}
	}
}
