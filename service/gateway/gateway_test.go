package gateway

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

var now = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// services stand for what lies behind the gateway: they remember what they were
// asked, and answer as told.
type services struct {
	method string
	md     metadata.MD
	args   proto.Message
	calls  int

	answer proto.Message
	header metadata.MD
	trail  metadata.MD
	err    error
}

func (s *services) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	s.calls++
	s.method, s.args = method, proto.Clone(args.(proto.Message))
	s.md, _ = metadata.FromOutgoingContext(ctx)
	for _, o := range opts {
		if h, ok := o.(grpc.HeaderCallOption); ok {
			*h.HeaderAddr = s.header
		}
		if h, ok := o.(grpc.TrailerCallOption); ok {
			*h.TrailerAddr = s.trail
		}
	}
	if s.err != nil {
		return s.err
	}
	if s.answer != nil {
		proto.Merge(reply.(proto.Message), s.answer)
	}
	return nil
}

func (s *services) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, errors.New("no streams here")
}

// oneKey is a store that holds one key.
type oneKey store.Key

func (k oneKey) Key(_ context.Context, id string) (store.Key, error) {
	if id != k.ID {
		return store.Key{}, store.ErrNotFound
	}
	return store.Key(k), nil
}

// gatewayTo returns a gateway in front of s and a token that it opens.
func gatewayTo(t *testing.T, s *services) (http.Handler, string) {
	t.Helper()
	token, k, err := access.Issue([]byte("p"), "gym-1", "test", []string{"log.read"}, now, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	h, err := New(t.Context(), s, Options{
		Authenticator: access.Authenticator{Keys: oneKey(k), Pepper: []byte("p"), Now: func() time.Time { return now }}, MaxBodyBytes: 2048,
	})
	if err != nil {
		t.Fatal(err)
	}
	return h, token
}

// do sends a request with a good key; headers are name, value pairs.
func do(t *testing.T, s *services, verb, path, body string, headers ...string) *httptest.ResponseRecorder {
	t.Helper()
	h, token := gatewayTo(t, s)
	req := httptest.NewRequestWithContext(t.Context(), verb, path, strings.NewReader(body))
	req.Header.Set("Authorization", "Bearer "+token)
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Add(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, req)
	return w
}

func decoded(t *testing.T, w *httptest.ResponseRecorder) map[string]any {
	t.Helper()
	var out map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil {
		t.Fatalf("body is not a JSON object: %v\n%s", err, w.Body)
	}
	return out
}

func TestGateway_PassesOnlyNamedHeaders(t *testing.T) {
	s := &services{}
	const id = "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11"
	w := do(t, s, "GET", "/v1/trainees/t1", "",
		"X-Request-Id", "call-7", "Idempotency-Key", id, "Steelyard-Revision", "forged",
		"Grpc-Metadata-Authorization", "Bearer forged", "Grpc-Metadata-X-Request-Id", "forged", "Grpc-Metadata-Tenant", "forged",
		"Grpcgateway-Authorization", "forged", "Grpcgateway-Tenant", "forged", "Cookie", "forged", "X-Tenant", "forged", "Grpc-Metadata-Key-Bin", "Zm9yZ2Vk")
	if w.Code != http.StatusOK {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	for key, values := range s.md {
		switch key {
		case "authorization", "x-request-id", "idempotency-key", "x-forwarded-for", "x-forwarded-host":
		default:
			t.Errorf("%s: %q is passed on", key, values)
		}
		if strings.Contains(strings.Join(values, " "), "forged") {
			t.Errorf("%s is forged: %q", key, values)
		}
	}
	if got := s.md.Get("x-request-id"); !slices.Equal(got, []string{"call-7"}) {
		t.Errorf("call id %q", got)
	}
	if got := s.md.Get("authorization"); len(got) == 0 || !strings.HasPrefix(got[0], "Bearer steelyard_") {
		t.Errorf("authorization %d values", len(got))
	}
}

func TestGateway_AnswersOnlyNamedHeaders(t *testing.T) {
	s := &services{header: metadata.Pairs("steelyard-revision", "r-7", "x-request-id", "call-7", "internal", "secret", "content-type", "text/html")}
	w := do(t, s, "GET", "/v1/trainees/t1", "", "Te", "trailers")
	want := map[string]string{
		"Steelyard-Revision": "r-7", "X-Request-Id": "call-7", "Content-Type": "application/json",
		"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store", "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
	}
	for name, value := range want {
		if got := w.Header().Values(name); !slices.Equal(got, []string{value}) {
			t.Errorf("%s: %q, want %q", name, got, value)
		}
	}
	for name := range w.Header() {
		if _, ok := want[name]; !ok && name != "Transfer-Encoding" {
			t.Errorf("%s: %q is answered", name, w.Header().Values(name))
		}
	}
}

// TestGateway_ShowsZerosAndLeavesOutWhatIsNotKnown: a caller must be able to tell 0 from unknown.
func TestGateway_ShowsZerosAndLeavesOutWhatIsNotKnown(t *testing.T) {
	w := do(t, &services{answer: &pb.Recommendation{Estimate: &pb.EnergyEstimate{RatePctPerWeek: proto.Float64(0)}}}, "GET", "/v1/trainees/t1/plans/p:recommend", "")
	got := decoded(t, w)
	for _, name := range []string{"planDay", "isReviewDue", "stage", "options", "cautions", "headline", "findings"} {
		if _, ok := got[name]; !ok {
			t.Errorf("%s is left out: %s", name, w.Body)
		}
	}
	if options, ok := got["options"].([]any); !ok || len(options) != 0 {
		t.Errorf("an empty list is %v", got["options"])
	}
	for _, name := range []string{"nextReviewDate", "currentTarget", "proposedTarget", "posterior", "practice", "asOfDate", "evidence"} {
		if v, ok := got[name]; ok {
			t.Errorf("unknown %s is shown as %v", name, v)
		}
	}
	estimate := got["estimate"].(map[string]any)
	if v, ok := estimate["ratePctPerWeek"]; !ok || v != 0. {
		t.Errorf("a known zero is %v: %s", v, w.Body)
	}
	if v, ok := estimate["rateSdPctPerWeek"]; ok {
		t.Errorf("an unknown number is shown as %v", v)
	}
	if strings.Contains(w.Body.String(), "null") {
		t.Errorf("nulls in %s", w.Body)
	}
}

func TestGateway_PathsAndVerbs(t *testing.T) {
	for _, c := range []struct {
		verb, path string
		headers    []string
		status     int
		code       string
	}{
		{"GET", "/v1/trainees/t1", nil, 200, ""},
		{"PUT", "/v1/trainees/t1", nil, 405, "UNIMPLEMENTED"},
		{"DELETE", "/v1/trainees/t1/plans", nil, 405, "UNIMPLEMENTED"},
		{"GET", "/v1/trainees/t1/entries:batchCreate", nil, 405, "UNIMPLEMENTED"},
		{"GET", "/", nil, 404, "NOT_FOUND"},
		{"GET", "/v1/nothing", nil, 404, "NOT_FOUND"},
		{"GET", "/v1/trainees/t1/", nil, 404, "NOT_FOUND"},
		{"GET", "/v1/trainees/t1/../t2", nil, 404, "NOT_FOUND"},
		{"POST", "/v1/trainees/t1", []string{"Content-Type", "application/x-www-form-urlencoded"}, 405, "UNIMPLEMENTED"},
		{"POST", "/v1/trainees/t1", []string{"Content-Type", "application/x-www-form-urlencoded", "X-HTTP-Method-Override", "GET"}, 405, "UNIMPLEMENTED"},
	} {
		s := &services{}
		w := do(t, s, c.verb, c.path, "", c.headers...)
		if w.Code != c.status || (s.calls == 1) != (c.status == 200) {
			t.Errorf("%s %s: %d, %d calls, want %d\n%s", c.verb, c.path, w.Code, s.calls, c.status, w.Body)
		}
		if c.code != "" && (decoded(t, w)["code"] != c.code || w.Header().Get("Content-Type") != "application/problem+json" || w.Header().Get("X-Content-Type-Options") != "nosniff") {
			t.Errorf("%s %s: %s %v", c.verb, c.path, w.Body, w.Header())
		}
	}
}

// unread fails the test when it is read.
type unread struct{ t *testing.T }

func (u unread) Read([]byte) (int, error) {
	u.t.Error("the body was read")
	return 0, io.EOF
}
func (unread) Close() error { return nil }

func TestGateway_StrangersBodyIsNotRead(t *testing.T) {
	s := &services{}
	h, token := gatewayTo(t, s)
	for _, authorization := range []string{"", "Basic eDp5", "Bearer nonsense", "Bearer " + token[:len(token)-1], token} {
		req := httptest.NewRequestWithContext(t.Context(), "POST", "/v1/trainees/t1/entries", unread{t})
		req.ContentLength = 1 << 30 // not even its size is looked at
		req.Header.Set("Authorization", authorization)
		req.Header.Set("Grpc-Metadata-Authorization", "Bearer "+token)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		if w.Code != http.StatusUnauthorized || w.Header().Get("WWW-Authenticate") != "Bearer" || decoded(t, w)["code"] != "UNAUTHENTICATED" || s.calls != 0 {
			t.Errorf("%q: %d %s, %d calls", authorization, w.Code, w.Body, s.calls)
		}
	}
}

func TestGateway_BodySize(t *testing.T) {
	for _, c := range []struct {
		name  string
		bytes int
		known bool // whether the length is announced
		ok    bool
	}{
		{"largest", 2048, true, true}, {"one more", 2049, true, false}, {"much more", 1 << 20, true, false},
		{"largest, length unknown", 2048, false, true}, {"one more, length unknown", 2049, false, false}, {"much more, length unknown", 1 << 20, false, false},
	} {
		s := &services{}
		h, token := gatewayTo(t, s)
		const frame = `{"note":""}`
		text := `{"note":"` + strings.Repeat("n", c.bytes-len(frame)) + `"}`
		req := httptest.NewRequestWithContext(t.Context(), "POST", "/v1/trainees/t1/entries", strings.NewReader(text))
		if !c.known {
			req.ContentLength = -1
		}
		req.Header.Set("Authorization", "Bearer "+token)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		switch {
		case c.ok && (w.Code != 200 || s.calls != 1):
			t.Errorf("%s: %d %s", c.name, w.Code, w.Body)
		case !c.ok && (w.Code != http.StatusRequestEntityTooLarge || s.calls != 0 || decoded(t, w)["code"] != "RESOURCE_EXHAUSTED"):
			t.Errorf("%s: %d %s, %d calls", c.name, w.Code, w.Body, s.calls)
		}
	}
}

func TestGateway_IdempotencyKeyIsTheRequestID(t *testing.T) {
	const id, other = "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", "3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"
	requestID := func(m proto.Message) string {
		r, _ := m.(interface{ GetRequestId() string })
		if r == nil {
			return "none"
		}
		return r.GetRequestId()
	}
	for _, c := range []struct {
		name, verb, path, body string
		headers                []string
		want                   string // request id that the service sees; empty when it is not asked
	}{
		{"header", "POST", "/v1/trainees/t1/entries", "{}", []string{"Idempotency-Key", id}, id},
		{"query", "POST", "/v1/trainees/t1/entries?requestId=" + other, "{}", nil, other},
		{"body", "POST", "/v1/trainees/t1/entries:batchCreate", `{"requestId":"` + other + `"}`, nil, other},
		{"both, the same", "POST", "/v1/trainees/t1/entries?requestId=" + id, "{}", []string{"Idempotency-Key", id}, id},
		{"both, different", "POST", "/v1/trainees/t1/entries?requestId=" + other, "{}", []string{"Idempotency-Key", id}, ""},
		{"body and header, different", "POST", "/v1/trainees/t1/entries:batchCreate", `{"requestId":"` + other + `"}`, []string{"Idempotency-Key", id}, ""},
		{"a deletion", "DELETE", "/v1/trainees/t1/entries/2026-03-01-mark-1", "", []string{"Idempotency-Key", id}, id},
		{"a read", "GET", "/v1/trainees/t1", "", []string{"Idempotency-Key", id}, "none"},
	} {
		s := &services{}
		w := do(t, s, c.verb, c.path, c.body, c.headers...)
		if c.want == "" {
			if w.Code != 400 || s.calls != 0 || !strings.Contains(w.Body.String(), `"field":"request_id"`) {
				t.Errorf("%s: %d %s, %d calls", c.name, w.Code, w.Body, s.calls)
			}
			continue
		}
		if w.Code != 200 || requestID(s.args) != c.want {
			t.Errorf("%s: %d %s, request id %q, want %q", c.name, w.Code, w.Body, requestID(s.args), c.want)
		}
	}
}

// TestGateway_DecoderTextDoesNotLeak: what a JSON decoder says of a body names
// the field and nothing of the decoder or of the value.
func TestGateway_DecoderTextDoesNotLeak(t *testing.T) {
	for _, c := range []struct{ body, field string }{
		{`{"wieghIn":{"weight":83.9517}}`, "wieghIn"},
		{`{"weighIn":{"weight":{"value":"83.9517 kilos"}}}`, "value"},
		{`{"weighIn":{"weight":{"unit":"MASS_UNIT_GRAIN"}}}`, "unit"},
		{`{"note":7}`, "note"},
		{`{"note":"83.9517`, "(body)"},
		{`{"date":"2026-03-01"}`, "(body)"},
		{`83.9517`, "(body)"},
		{`{"note":"a","note":"b"}`, "note"},
		{`{"weighIn":{},"intake":{}}`, "(body)"},
		{"{\"note\":\"\xff\"}", "(body)"},
		{strings.Repeat("[", 2000), "(body)"},
	} {
		s := &services{}
		w := do(t, s, "POST", "/v1/trainees/t1/entries", c.body)
		if w.Code != 400 || s.calls != 0 || decoded(t, w)["code"] != "INVALID_ARGUMENT" {
			t.Errorf("%.40s: %d %s", c.body, w.Code, w.Body)
		}
		if !strings.Contains(w.Body.String(), `"field":"`+c.field+`"`) {
			t.Errorf("%.40s: %s does not name %s", c.body, w.Body, c.field)
		}
		for _, leak := range []string{"proto:", "line 1", "83.9517", "unexpected", "syntax", "GRAIN", `\ufffd`} {
			if strings.Contains(w.Body.String(), leak) {
				t.Errorf("%.40s: %q leaks in %s", c.body, leak, w.Body)
			}
		}
	}
}

// TestGateway_QueryThatIsNoText is refused like any other bad query.
func TestGateway_QueryThatIsNoText(t *testing.T) {
	for _, path := range []string{"/v1/trainees/t1/entries?%ff=1", "/v1/trainees/t1/entries?a%22b=1", "/v1/trainees/t1/entries?startDate=%ff", "/v1/trainees/t1/entries?kinds=%ff"} {
		s := &services{}
		if w := do(t, s, "GET", path, ""); w.Code != 400 || s.calls != 0 || strings.Contains(decoded(t, w)["detail"].(string), "(body)") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
}

func TestGateway_ErrorsOfTheServices(t *testing.T) {
	for code, want := range map[codes.Code]int{
		codes.InvalidArgument: 400, codes.FailedPrecondition: 400, codes.Unauthenticated: 401, codes.PermissionDenied: 403, codes.NotFound: 404,
		codes.AlreadyExists: 409, codes.Aborted: 409, codes.ResourceExhausted: 429, codes.Canceled: 499, codes.Internal: 500,
		codes.Unimplemented: 501, codes.Unavailable: 503, codes.DeadlineExceeded: 504,
	} {
		s := &services{err: status.Error(code, "a sentence"), header: metadata.Pairs("x-request-id", "call-7")}
		if code == codes.InvalidArgument { // one of ours has details
			s.err = badField(t)
		}
		w := do(t, s, "GET", "/v1/trainees/t1", "")
		p := decoded(t, w)
		if w.Code != want || p["status"] != float64(want) || p["code"] != codeNames[code] || codeNames[code] == "" || p["detail"] != "a sentence" {
			t.Errorf("%v: %d %s, want %d", code, w.Code, w.Body, want)
		}
		if w.Header().Get("X-Request-Id") != "call-7" {
			t.Errorf("%v: the call has no name: %v", code, w.Header())
		}
		if got := w.Header().Get("Retry-After"); (got != "") != (code == codes.Unavailable) {
			t.Errorf("%v: Retry-After %q", code, got)
		}
		if _, ok := p["details"].([]any); !ok {
			t.Errorf("%v: details %v", code, p["details"])
		}
	}
	for c := codes.Canceled; c <= codes.Unauthenticated; c++ {
		if codeNames[c] == "" {
			t.Errorf("%v has no name", c)
		}
	}
}

// TestGateway_SaysWhenToComeAgain: in whole seconds, never too early.
func TestGateway_SaysWhenToComeAgain(t *testing.T) {
	for after, want := range map[time.Duration]string{
		time.Millisecond: "1", 999 * time.Millisecond: "1", time.Second: "1", 1001 * time.Millisecond: "2", 7500 * time.Millisecond: "8",
	} {
		told, _ := fault.Status(&fault.Exhausted{Reason: fault.ReasonOverloaded, Sentence: "a sentence", After: after})
		s := &services{err: told.Err(), trail: metadata.Pairs("x-request-id", "call-7", "grpc-retry-pushback-ms", "100", "internal", "secret")}
		w := do(t, s, "GET", "/v1/trainees/t1", "")
		if p := decoded(t, w); w.Code != 429 || p["code"] != "RESOURCE_EXHAUSTED" || p["detail"] != "a sentence" || w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("after %v: %d %s", after, w.Code, w.Body)
		}
		if got := w.Header().Get("Retry-After"); got != want {
			t.Errorf("after %v: Retry-After %q, want %q", after, got, want)
		}
		if w.Header().Get("X-Request-Id") != "call-7" || strings.Contains(fmt.Sprint(w.Header()), "secret") {
			t.Errorf("after %v: header %v", after, w.Header())
		}
	}
}

func badField(t *testing.T) error {
	t.Helper()
	s, err := status.New(codes.InvalidArgument, "a sentence").WithDetails(&pb.Interval{})
	if err != nil {
		t.Fatal(err)
	}
	return s.Err()
}
