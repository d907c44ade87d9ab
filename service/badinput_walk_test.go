package service_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service"
)

// TestBadValues puts each bad value of a field's kind into each field of each
// request, nested ones too, by each way in. Either the value is accepted and reads
// back as it was sent, or the refusal names the field and nothing is stored.
func TestBadValues(t *testing.T) {
	w := newWorld(t, func(*service.Config) {})
	header := "Bearer " + w.token
	n, tried, accepted := 0, 0, 0
	for _, m := range contract() {
		for _, by := range ways(m) {
			t.Run(string(m.Name())+" "+by.name, func(t *testing.T) {
				fresh := func() []proto.Message { n++; return valid[fullName(m)](t, w.mine, n) }
				requests := fresh()
				before := w.writes(t)
				for _, p := range places(m) {
					for _, b := range append(badValues(p.field()), p.spoilt(requests)...) {
						send, sent := w.spelled(t, by, m, p, requests, b)
						if send == nil {
							continue
						}
						got := send(header)
						tried++
						what := fmt.Sprintf("%s: %s %.60q", p, b.class, fmt.Sprint(b.value))
						if elsewhere := b.class == "with a verb" && by.rule != nil; !elsewhere || got.code != codes.OK {
							plausible(t, what, m, got)
						}
						if refusedHere(t, what, m, p, got) {
							if !m.IsStreamingClient() { // whose progress is stored
								before = w.unwritten(t, what, before)
							}
							continue
						}
						accepted++
						w.readsBack(t, what, m, sent, got)
						requests = fresh()
						before = w.writes(t)
					}
				}
				if got := w.call(t, by, header, m, fresh()); got.code != codes.OK {
					t.Errorf("and then a good one: %q", got.text)
				}
			})
		}
	}
	w.discreet(t)
	t.Logf("%d bad values tried, %d of them accepted", tried, accepted)
}

// spoilt are values that were good until something was put to them.
func (p place) spoilt(requests []proto.Message) []badValue {
	f := p.field()
	if f.Kind() != protoreflect.StringKind || f.IsList() {
		return nil
	}
	text := p.parent(proto.Clone(requests[p.request]).ProtoReflect()).Get(f).String()
	if text == "" {
		return nil
	}
	return []badValue{
		{"in capitals", strings.ToUpper(text)}, {"with a space", text + " "}, {"with a NUL", text + "\x00"}, {"with more after it", text + "/more"},
		{"with a mark", text + "\u202e"}, {"not UTF-8", text + "\xff"}, {"with a verb", text + ":export"}, {"with a line break", text + "\n"}, {"with a dot", text + "/.."},
	}
}

const placeholder = "zzplaceholderzz"

// spelled is a request with a bad value, ready to be sent with an Authorization
// header; nil when the way in cannot spell it.
func (w *world) spelled(t testing.TB, by way, m protoreflect.MethodDescriptor, p place, requests []proto.Message, b badValue) (func(string) heard, []proto.Message) {
	t.Helper()
	sent := p.with(requests, b)
	if sent == nil {
		return nil, nil
	}
	if by.rule == nil {
		raw := make([][]byte, len(sent))
		for i, r := range sent {
			raw[i] = wireOf(r) // invalid UTF-8 too
		}
		return func(header string) heard { return w.callRaw(t, header, m, raw) }, sent
	}
	marked := sent
	text, isText := b.value.(string)
	if isText {
		marked = p.with(requests, badValue{b.class, placeholder})
	}
	req, ok := spellAll(t, by.rule, marked)
	if !ok {
		return nil, nil
	}
	path, query, _ := strings.Cut(req.path, "?")
	segments := strings.Split(text, "/")
	for i, s := range segments {
		segments[i] = url.PathEscape(s)
	}
	req.path = strings.ReplaceAll(path, placeholder, strings.Join(segments, "/"))
	if query != "" {
		req.path += "?" + strings.ReplaceAll(query, placeholder, url.QueryEscape(text))
	}
	req.body = strings.ReplaceAll(req.body, placeholder, escaped(text))
	return func(header string) heard { return w.callHTTP(t, header, m, req) }, sent
}

// escaped spells a text inside a JSON string, invalid bytes as they are.
func escaped(text string) string {
	var b strings.Builder
	for i := range len(text) {
		switch c := text[i]; {
		case c == '"' || c == '\\':
			b.WriteString("\\" + string(rune(c)))
		case c < 0x20:
			_, _ = fmt.Fprintf(&b, "\\u%04x", c)
		default:
			b.WriteByte(c)
		}
	}
	return strings.ReplaceAll(b.String(), "\xed\xa0\x80", `\ud800`)
}

// leaks is what no answer may hold: words of what lies below the contract.
var leaks = regexp.MustCompile(`(?i)panic|goroutine|sqlite|SQL|runtime error|\.go:\d|proto:|rpc error|unmarshal|reflect`)

// refusedHere reports whether a call was refused for its bad value, and checks how:
// by a code that blames the caller, naming the field.
func refusedHere(t testing.TB, what string, m protoreflect.MethodDescriptor, p place, got heard) bool {
	t.Helper()
	if leaks.Match(got.problems) {
		t.Errorf("%s: leaks: %q", what, got.text)
	}
	f := p.field()
	switch got.code {
	case codes.OK:
		return backfillRefused(t, what, m, p, got)
	case codes.InvalidArgument:
		if s := problemOf(t, got); !names(s, p, got.status != 0) && !(got.status != 0 && slices.ContainsFunc(idFields(m), func(f []string) bool { return strings.Join(f, ".") == p.String() })) { // whose path may be another method's
			t.Errorf("%s: the refusal does not name the field: %v", what, s)
		}
		return true
	case codes.NotFound, codes.Unimplemented, codes.AlreadyExists:
		if (f.Kind() == protoreflect.StringKind && !f.IsList()) || strings.Contains(got.text, "there is no such path") {
			return true // another thing, or another path
		}
	case codes.FailedPrecondition, codes.Aborted:
		return true // a sound value that does not go with what is stored
	case codes.ResourceExhausted:
		if strings.Contains(what, "1 MiB") {
			return true
		}
	case codes.Unknown:
		if got.status == http.StatusRequestHeaderFieldsTooLarge && (strings.Contains(what, "1 MiB") || strings.Contains(what, "too many")) {
			return true // by net/http itself
		}
	}
	t.Errorf("%s: %q", what, got.text)
	return true
}

// partners are fields that a refusal may name in place of one: the two do not go together.
var partners = map[string][]string{
	"start_date":                  {"end_date"},
	"plan.band_high_pct_per_week": {"plan.band_low_pct_per_week"},
	"plan.activity_cap_kcal":      {"plan.base_activity_kcal"},
	"update_mask":                 {"plan.start_date"}, // which it leaves out
}

// names reports whether a refusal names the place, a part of it or what it is a part
// of, or its partner. JSON that could not be decoded may be
// refused by the field's own name, or as a whole.
func names(s *rpcstatus.Status, p place, byJSON bool) bool {
	want := p.String()
	for _, d := range status.FromProto(s).Details() {
		bad, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range bad.GetFieldViolations() {
			got := regexp.MustCompile(`\[\d+\]`).ReplaceAllString(v.GetField(), "[0]")
			switch {
			case got == want || strings.HasPrefix(got, want+".") || strings.HasPrefix(got, want+"[") || strings.HasPrefix(want, got+".") || strings.HasPrefix(want, got+"["):
				return true
			case got == "(message)":
				return !byJSON // which bytes were bad nobody can tell
			case byJSON && (got == "(body)" || got == "(query)" || got == p.field().JSONName() || got == string(p.field().Name())):
				return true
			case p.field().ContainingOneof() != nil && got == string(p.field().ContainingOneof().Name()):
				return true
			case slices.Contains(partners[want], got):
				return true
			}
		}
	}
	return s.GetMessage() == "the path is not valid"
}
