package fault_test

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// secret is text that no caller may see.
const secret = "/srv/secret-place: disk 7 gone"

// known is every error that has a meaning for callers.
var known = []struct {
	name     string
	err      error
	code     codes.Code
	reason   string // of the ErrorInfo; empty when there is none
	alarming bool
	sentence string // a part of what the caller is told
}{
	{"invalid", fault.InvalidField("entry.date", "is required"), codes.InvalidArgument, "INVALID_FIELD", false, "entry.date: is required"},
	{"refused", &fault.Refused{Reason: "PLAN_CLOSED", Sentence: "the plan is closed"}, codes.FailedPrecondition, "PLAN_CLOSED", false, "the plan is closed"},
	{"conflict", &fault.Conflict{Reason: "BATCH_OUT_OF_ORDER", Sentence: "batch 3 is expected next"}, codes.Aborted, "BATCH_OUT_OF_ORDER", false, "batch 3 is expected next"},
	{"panic", &fault.Panicked{Value: secret, Stack: []byte(secret)}, codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"panic with a sentinel", &fault.Panicked{Value: store.ErrNotFound}, codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"unauthenticated", access.ErrUnauthenticated, codes.Unauthenticated, "UNAUTHENTICATED", false, "a valid API key is needed"},
	{"forbidden", access.ErrForbidden, codes.PermissionDenied, "SCOPE_MISSING", false, "lacks the scope"},
	{"bound", access.ErrBound, codes.PermissionDenied, "TRAINEE_BOUND", false, "bound to one trainee"},
	{"not found", store.ErrNotFound, codes.NotFound, "NOT_FOUND", false, "no such thing"},
	{"exists", store.ErrExists, codes.AlreadyExists, "ALREADY_EXISTS", false, "the id is taken"},
	{"reused", store.ErrReused, codes.FailedPrecondition, "REQUEST_ID_REUSED", false, "request_id was used before"},
	{"exhausted", fmt.Errorf("wrapped: %w", &fault.Exhausted{Reason: "OVERLOADED", Sentence: "too much", After: time.Second}), codes.ResourceExhausted, "OVERLOADED", false, "too much"},
	{"unavailable", store.ErrUnavailable, codes.Unavailable, "STORE_UNAVAILABLE", true, "try again"},
	{"issuer away", access.ErrIssuerAway, codes.Unavailable, "IDENTITY_PROVIDER_UNAVAILABLE", false, "the identity provider does not answer"},
	{"canceled", context.Canceled, codes.Canceled, "", false, "the caller went away"},
	{"deadline", context.DeadlineExceeded, codes.DeadlineExceeded, "", false, "deadline"},
	{"unknown", errors.New(secret), codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"driver", fmt.Errorf("scan: %w", io.ErrUnexpectedEOF), codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"transport: no such method", status.Error(codes.Unimplemented, "unknown method X"), codes.Unimplemented, "", false, "unknown method X"},
	{"transport: too large", status.Error(codes.ResourceExhausted, "larger than max"), codes.ResourceExhausted, "", false, "larger than max"},
	{"transport: not decodable", status.Error(codes.InvalidArgument, "not a message"), codes.InvalidArgument, "", false, "not a message"},
	{"transport: canceled", status.Error(codes.Canceled, "context canceled"), codes.Canceled, "", false, "context canceled"},
	{"transport: deadline", status.Error(codes.DeadlineExceeded, "context deadline exceeded"), codes.DeadlineExceeded, "", false, "deadline"},
	{"another service's error", status.Error(codes.NotFound, secret), codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"another service's internal error", status.Error(codes.Internal, secret), codes.Internal, "INTERNAL", true, "something went wrong on our side"},
	{"another service's unknown error", status.Error(codes.Unknown, secret), codes.Internal, "INTERNAL", true, "something went wrong on our side"},
}

func TestStatus_MapsEveryErrorAndTellsNothingElse(t *testing.T) {
	upperSnake := regexp.MustCompile(`^[A-Z][A-Z0-9_]*[A-Z0-9]$`)
	for _, c := range known {
		for way, err := range map[string]error{
			"bare":          c.err,
			"wrapped":       fmt.Errorf("%s: %w", secret, c.err),
			"wrapped twice": fmt.Errorf("read head: %w", fmt.Errorf("%s: %w", secret, c.err)),
			"joined":        errors.Join(errors.New(secret), c.err),
		} {
			t.Run(c.name+" "+way, func(t *testing.T) {
				got, alarming := fault.Status(err)
				if got.Code() != c.code || alarming != c.alarming {
					t.Errorf("%v (alarming %v), want %v (%v)", got.Code(), alarming, c.code, c.alarming)
				}
				if !strings.Contains(got.Message(), c.sentence) {
					t.Errorf("says %q, want %q in it", got.Message(), c.sentence)
				}
				if text := whole(t, got); strings.Contains(text, "secret") {
					t.Errorf("internal text leaks: %s", text)
				}
				reasons := errorInfos(got)
				switch {
				case c.reason == "" && len(got.Details()) != 0:
					t.Errorf("details %v, want none", got.Details())
				case c.reason == "":
				case len(reasons) != 1:
					t.Errorf("%d ErrorInfos, want 1", len(reasons))
				case reasons[0].GetReason() != c.reason || reasons[0].GetDomain() != "steelyard" || !upperSnake.MatchString(reasons[0].GetReason()):
					t.Errorf("ErrorInfo %v, want reason %s of domain steelyard", reasons[0], c.reason)
				}
			})
		}
	}
}

// TestStatus_CallersDoingIsNoAlarm: a statement that its caller cut short is the
// caller's doing, whatever the driver made of it.
func TestStatus_CallersDoingIsNoAlarm(t *testing.T) {
	got, alarming := fault.Status(fmt.Errorf("read: %w", errors.Join(store.ErrUnavailable, context.Canceled)))
	if got.Code() != codes.Canceled || alarming {
		t.Errorf("cut short by the caller: %v, alarming %v", got.Code(), alarming)
	}
}

// TestStatus_KnowsEverySentinel: a sentinel that a store may return and that has
// no meaning for callers would become INTERNAL.
func TestStatus_KnowsEverySentinel(t *testing.T) {
	sentinels := map[string]error{
		"ErrNotFound": store.ErrNotFound, "ErrExists": store.ErrExists, "ErrReused": store.ErrReused, "ErrUnavailable": store.ErrUnavailable,
	}
	f, err := parser.ParseFile(token.NewFileSet(), "../store/errors.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	ast.Inspect(f, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		for _, name := range spec.Names {
			found++
			if s, _ := fault.Status(sentinels[name.Name]); s.Code() == codes.OK || s.Code() == codes.Internal {
				t.Errorf("store.%s has the status %v", name.Name, s.Code())
			}
		}
		return false
	})
	if found < len(sentinels) {
		t.Errorf("found %d sentinels, want %d", found, len(sentinels))
	}
}

func TestStatus_NilIsOK(t *testing.T) {
	if s, alarming := fault.Status(nil); s.Code() != codes.OK || alarming {
		t.Errorf("%v, alarming %v", s, alarming)
	}
}

func TestStatus_InvalidNamesEachField(t *testing.T) {
	s, _ := fault.Status(&fault.Invalid{Fields: []fault.Field{{Path: "a.b", Problem: "is odd"}, {Path: "c", Problem: "is even"}}})
	var got []string
	for _, d := range s.Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range b.GetFieldViolations() {
				got = append(got, v.GetField()+" "+v.GetDescription())
			}
		}
	}
	if strings.Join(got, "; ") != "a.b is odd; c is even" || s.Message() != "a.b: is odd; c: is even" {
		t.Errorf("violations %q, message %q", got, s.Message())
	}
}

func TestRetryAfter(t *testing.T) {
	for _, c := range []struct {
		err   error
		after time.Duration
	}{
		{store.ErrUnavailable, time.Second},
		{&fault.Exhausted{Reason: "OVERLOADED", Sentence: "too much", After: 1700 * time.Millisecond}, 1700 * time.Millisecond},
		{store.ErrNotFound, 0},
		{context.DeadlineExceeded, 0},
		{status.Error(codes.ResourceExhausted, "larger than max"), 0}, // it will not get smaller
		{nil, 0},
	} {
		s, _ := fault.Status(c.err)
		if after, told := fault.RetryAfter(s); after != c.after || told != (c.after > 0) {
			t.Errorf("%v: retry after %v (%v), want %v", c.err, after, told, c.after)
		}
	}
}

func TestUnder_PutsThePathBefore(t *testing.T) {
	in := &fault.Invalid{Fields: []fault.Field{{Path: "date", Problem: "p"}, {Path: "", Problem: "q"}}}
	for _, c := range []struct{ prefix, want string }{
		{"entries[2]", "entries[2].date: p; entries[2]: q"},
		{"", "date: p; : q"},
	} {
		if got := fault.Under(c.prefix, in); got.Error() != c.want {
			t.Errorf("under %q: %q, want %q", c.prefix, got, c.want)
		}
	}
	if in.Fields[0].Path != "date" {
		t.Errorf("the original was changed: %v", in)
	}
	if got := fault.Under("entry", store.ErrNotFound); !errors.Is(got, store.ErrNotFound) {
		t.Errorf("another error became %v", got)
	}
}

func errorInfos(s *status.Status) []*errdetails.ErrorInfo {
	var out []*errdetails.ErrorInfo
	for _, d := range s.Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			out = append(out, i)
		}
	}
	return out
}

// whole is everything that goes over the wire.
func whole(t *testing.T, s *status.Status) string {
	t.Helper()
	b, err := proto.Marshal(s.Proto())
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
