package service_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"

	pb "example.com/steelyard/api/steelyard/v1"
)

// field returns the field that the first BadRequest violation of a problem body names.
func field(t *testing.T, a answer) string {
	t.Helper()
	for _, d := range a.json(t)["details"].([]any) {
		m := d.(map[string]any)
		if v, ok := m["fieldViolations"].([]any); ok && len(v) > 0 {
			return v[0].(map[string]any)["field"].(string)
		}
	}
	return ""
}

// TestProblemBodies: every refusal on the JSON side is an RFC 9457 body with the
// google.rpc code and details, and the right HTTP status.
func TestProblemBodies(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	const weigh = `{"date":{"year":2025,"month":3,"day":3},"weighIn":{"weight":{"value":81,"unit":"MASS_UNIT_KILOGRAM"}}}`
	for _, c := range []struct {
		name, method, path, body string
		status                   int
		code, field              string
	}{
		{"unknown path", "GET", "/v1/nothing", "", 404, "NOT_FOUND", ""},
		{"wrong verb", "DELETE", "/v1/trainees/t1/plans", "", 405, "UNIMPLEMENTED", ""},
		{"unknown body field", "POST", "/v1/trainees/t1/entries", `{"wieghIn":{}}`, 400, "INVALID_ARGUMENT", "wieghIn"},
		{"unknown query parameter", "GET", "/v1/trainees/t1/entries?pageSzie=3", "", 400, "INVALID_ARGUMENT", "pageSzie"},
		{"query parameter that the path sets", "GET", "/v1/trainees/t1/entries?parent=trainees/t2", "", 400, "INVALID_ARGUMENT", "parent"},
		{"repeated query parameter", "GET", "/v1/trainees/t1/entries?pageSize=3&pageSize=4", "", 400, "INVALID_ARGUMENT", "pageSize"},
		{"date in the query", "GET", "/v1/trainees/t1/entries?startDate=2025-04-31", "", 400, "INVALID_ARGUMENT", "start_date"},
		{"not JSON", "POST", "/v1/trainees/t1/entries", `{`, 400, "INVALID_ARGUMENT", "(body)"},
		{"wrong type", "POST", "/v1/trainees/t1/entries", `{"weighIn":{"weight":{"value":"heavy"}}}`, 400, "INVALID_ARGUMENT", "value"},
		{"unknown enum", "POST", "/v1/trainees/t1/entries", strings.Replace(weigh, "MASS_UNIT_KILOGRAM", "MASS_UNIT_GRAIN", 1), 400, "INVALID_ARGUMENT", "unit"},
		{"slash in an id", "GET", "/v1/trainees/a%2Fb", "", 404, "NOT_FOUND", ""},
		{"id of another shape", "GET", "/v1/trainees/UPPER", "", 400, "INVALID_ARGUMENT", "name"},
		{"body too large", "POST", "/v1/trainees/t1/entries", `{"note":"` + strings.Repeat("x", 2<<20) + `"}`, 413, "RESOURCE_EXHAUSTED", ""},
		{"absent trainee", "GET", "/v1/trainees/nobody", "", 404, "NOT_FOUND", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := r.http(r.token, c.method, c.path, c.body)
			if got.status != c.status || got.header.Get("Content-Type") != "application/problem+json" {
				t.Fatalf("status %d (%s), want %d\n%s", got.status, got.header.Get("Content-Type"), c.status, got.body)
			}
			p := got.json(t)
			if p["code"] != c.code || p["status"] != float64(c.status) || p["title"] != http.StatusText(c.status) || p["detail"] == "" {
				t.Errorf("problem %s", got.body)
			}
			if f := field(t, got); f != c.field {
				t.Errorf("names field %q, want %q\n%s", f, c.field, got.body)
			}
		})
	}
}

// TestStrangersAreRefusedBeforeTheBody: a call without a key is refused however
// its body looks, and hears nothing else.
func TestStrangersAreRefusedBeforeTheBody(t *testing.T) {
	r := start(t)
	for _, token := range []string{"", "nonsense", "steelyard_aaaa_bbbb_cccc", r.token[:len(r.token)-1] + "x", "steelyard" + strings.TrimPrefix(r.key("tenant-b", "log.read"), "steelyard")[:20]} {
		got := r.http(token, "POST", "/v1/trainees/t1/entries", `{"broken`)
		if got.status != 401 || got.header.Get("WWW-Authenticate") != "Bearer" || got.json(t)["code"] != "UNAUTHENTICATED" {
			t.Errorf("token %q: %d %s", token, got.status, got.body)
		}
	}
}

// TestIdempotencyKey: the header is the request id.
func TestIdempotencyKey(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	const body = `{"date":{"year":2025,"month":3,"day":3},"weighIn":{"weight":{"value":%d,"unit":"MASS_UNIT_POUND"}}}`
	id := uuid.NewString()
	post := func(value int, path string) answer {
		return r.http(r.token, "POST", "/v1/trainees/t1/entries"+path, fmt.Sprintf(body, value), "Idempotency-Key", id)
	}
	first, again := post(180, ""), post(180, "")
	if first.status != 200 || string(first.body) != string(again.body) || first.header.Get("Steelyard-Revision") != again.header.Get("Steelyard-Revision") {
		t.Errorf("first %d %s (%s)\nagain %d %s (%s)", first.status, first.body, first.header.Get("Steelyard-Revision"), again.status, again.body, again.header.Get("Steelyard-Revision"))
	}
	if other := post(181, ""); other.status != 400 || other.json(t)["code"] != "FAILED_PRECONDITION" {
		t.Errorf("same key, other body: %d %s", other.status, other.body)
	}
	if both := post(180, "?requestId="+uuid.NewString()); both.status != 400 || field(t, both) != "request_id" {
		t.Errorf("two ids: %d %s", both.status, both.body)
	}
	entries, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1"})
	if err != nil || len(entries.GetEntries()) != 1 || entries.GetEntries()[0].GetWeighIn().GetWeight().GetValue() != 180 {
		t.Errorf("stored %v, %v", entries, err)
	}
}

// TestPatch: the body's fields are the mask, dates are whole values, and what
// was read may be sent back.
func TestPatch(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	got := r.http(r.token, "PATCH", "/v1/trainees/t1", `{"heightCm":171.5,"birthDate":{"year":1988,"month":2,"day":29}}`)
	p := got.json(t)
	if got.status != 200 || p["heightCm"] != 171.5 || fmt.Sprint(p["birthDate"]) != fmt.Sprint(map[string]any{"year": 1988., "month": 2., "day": 29.}) || p["sex"] != "SEX_MALE" {
		t.Errorf("patched: %d %s", got.status, got.body)
	}
	if back := r.http(r.token, "PATCH", "/v1/trainees/t1", string(got.body)); back.status != 200 {
		t.Errorf("sent back as read: %d %s", back.status, back.body)
	}
	if masked := r.http(r.token, "PATCH", "/v1/trainees/t1?updateMask=heightCm", `{}`); masked.status != 200 || masked.json(t)["heightCm"] != nil {
		t.Errorf("masked and left out: %d %s", masked.status, masked.body)
	}
	if bad := r.http(r.token, "PATCH", "/v1/trainees/t1?updateMask=shoeSize", `{}`); bad.status != 400 {
		t.Errorf("unknown mask path: %d %s", bad.status, bad.body)
	}
}
