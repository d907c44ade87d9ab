package service_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service"
)

// TestBadJSON: JSON that no message is spelled as, at each field of each body, and
// around it. It is refused, or read as JSON for messages is; nothing is stored of
// what is refused.
func TestBadJSON(t *testing.T) {
	w := newWorld(t, func(*service.Config) {})
	header := "Bearer " + w.token
	n, tried, accepted := 0, 0, 0
	for _, m := range contract() {
		for _, by := range ways(m) {
			if by.rule == nil || by.rule.GetBody() == "" {
				continue
			}
			t.Run(string(m.Name())+" "+by.name, func(t *testing.T) {
				fresh := func() []proto.Message { n++; return valid[fullName(m)](t, w.mine, n) }
				requests := fresh()
				before := w.writes(t)
				try := func(what string, p place, edit func(body string) string) {
					req, ok := spellAll(t, by.rule, requests)
					if !ok {
						t.Fatal("a valid request that JSON cannot spell")
					}
					req.body = edit(req.body)
					got := w.callHTTP(t, header, m, req)
					tried++
					plausible(t, what, m, got)
					if got.code == codes.OK {
						accepted++
						requests = fresh()
						before = w.writes(t)
						return
					}
					if got.code != codes.InvalidArgument && !blamesCaller(got.code) {
						t.Errorf("%s: %q", what, got.text)
					}
					if leaks.Match(got.problems) {
						t.Errorf("%s: leaks: %q", what, got.text)
					}
					if !m.IsStreamingClient() {
						before = w.unwritten(t, what, before)
					}
				}
				for _, p := range places(m) {
					in, found := bodyPath(by.rule.GetBody(), p)
					if !found {
						continue
					}
					for _, raw := range badJSON(p.field()) {
						try(fmt.Sprintf("%s: %.40s", p, raw), p, func(string) string { return bodyWith(t, by.rule.GetBody(), requests, p, in, raw) })
					}
				}
				for what, edit := range map[string]func(string) string{
					"nothing": func(string) string { return "" }, "null": func(string) string { return "null" }, "an array": func(b string) string { return "[" + b + "]" },
					"more after it": func(b string) string { return b + `{"` }, "half": func(b string) string { return b[:len(b)/2] }, "a word": func(string) string { return "yes" },
					"not UTF-8": func(b string) string { return strings.Replace(b, "{", "{\"\xff\":1,", 1) }, "a NUL": func(b string) string { return b + "\x00" },
					"deep":             func(string) string { return strings.Repeat(`{"a":`, 10_000) + "1" + strings.Repeat("}", 10_000) },
					"an unknown field": func(b string) string { return strings.Replace(b, "{", `{"bogus":1,`, 1) },
					"many keys":        func(b string) string { return strings.Replace(b, "{", "{"+strings.Repeat(`"bogus":1,`, 20_000), 1) },
				} {
					try(what, place{}, edit)
				}
			})
		}
	}
	w.discreet(t)
	t.Logf("%d bad bodies tried, %d of them accepted", tried, accepted)
}

// badJSON is what may stand at a field in place of a value of its kind.
func badJSON(f protoreflect.FieldDescriptor) []string {
	deep := strings.Repeat("[", 10_000) + strings.Repeat("]", 10_000)
	out := []string{`null`, `{"a":1}`, `[[1]]`, `[]`, `"text"`, `true`, `12`, `1e999`, `-1e999`, `"NaN"`, `"-Infinity"`, `1.5`, `"1.5"`, `-0`, `""`, `"\ud800"`, `070`, `1,5`, deep}
	key := `,"` + f.JSONName() + `":`
	return append(out, `null`+key+`null`, `12`+key+`12`, `12,"bogus":1`)
}

// bodyPath is where in a body a place stands; false when it stands in the path or the query.
func bodyPath(body string, p place) ([]protoreflect.FieldDescriptor, bool) {
	if body == "*" {
		return p.path, true
	}
	return p.path[1:], string(p.path[0].Name()) == body && len(p.path) > 1
}

// bodyWith is the body with a text in place of a value.
func bodyWith(t *testing.T, body string, requests []proto.Message, p place, in []protoreflect.FieldDescriptor, raw string) string {
	t.Helper()
	var lines []string
	for i, r := range requests {
		r = proto.Clone(r)
		if i == p.request {
			p.parent(r.ProtoReflect()) // so that it is there
		}
		if body != "*" {
			r = r.ProtoReflect().Get(r.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(body))).Message().Interface()
		}
		b, err := protojson.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		if i == p.request {
			b = replaced(t, b, in, raw)
		}
		lines = append(lines, string(b))
	}
	return strings.Join(lines, "\n")
}

func replaced(t *testing.T, b []byte, in []protoreflect.FieldDescriptor, raw string) []byte {
	t.Helper()
	var whole any
	if err := json.Unmarshal(b, &whole); err != nil {
		t.Fatal(err)
	}
	at := whole
	for i, f := range in {
		fields := at.(map[string]any)
		if i == len(in)-1 {
			fields[f.JSONName()] = placeholder
			break
		}
		at = fields[f.JSONName()]
		if list, ok := at.([]any); ok {
			at = list[0]
		}
	}
	out, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	return bytes.Replace(out, []byte(`"`+placeholder+`"`), []byte(raw), 1)
}

// TestBadProtobuf: bytes that are no message of the request, or a strange one.
func TestBadProtobuf(t *testing.T) {
	w := newWorld(t, func(*service.Config) {})
	header := "Bearer " + w.token
	seed := seedOf(t)
	random := rand.New(rand.NewPCG(seed, 2))
	nested := []byte{}
	for range 20_000 {
		nested = append(protowire.AppendVarint(protowire.AppendTag(nil, 2, protowire.BytesType), uint64(min(len(nested), 1<<20))), nested...)
		if len(nested) > 100_000 {
			break
		}
	}
	unknown := bytes.Repeat(protowire.AppendVarint(protowire.AppendTag(nil, 1000, protowire.VarintType), 7), 100_000)
	tried, n := 0, 0
	for _, m := range contract() {
		t.Run(string(m.Name()), func(t *testing.T) {
			n++
			requests := valid[fullName(m)](t, w.mine, n)
			good := wire(t, requests[0])
			before := w.rows(t, "tenant-b")
			bad := map[string][]byte{
				"truncated": good[:max(0, len(good)-1)], "garbage": {0xff, 0x01, 0x02}, "group": {0x0b, 0x0b, 0x0b}, "deep": nested, "unknown fields": unknown,
				"wrong wire type": protowire.AppendVarint(protowire.AppendTag(nil, 1, protowire.VarintType), 1),
				"reserved tag":    {0x00, 0x01}, "endless varint": bytes.Repeat([]byte{0xff}, 20), "twice": append(bytes.Clone(good), good...),
			}
			for i := range 40 {
				b := make([]byte, random.IntN(60))
				for j := range b {
					b[j] = byte(random.Uint32())
				}
				bad[fmt.Sprintf("random %d", i)] = b
			}
			for what, raw := range bad {
				for _, h := range []string{header, "Bearer " + w.theirs.token, ""} {
					got := w.callRaw(t, h, m, [][]byte{raw})
					tried++
					if !blamesCaller(got.code) && (h != "" || got.code != codes.Unauthenticated) {
						t.Errorf("%s: %q", what, got.text)
					}
					if h == "" && got.code != codes.Unauthenticated {
						t.Errorf("%s: a stranger hears %q", what, got.text)
					}
					if leaks.Match(got.problems) {
						t.Errorf("%s: leaks: %q", what, got.text)
					}
				}
			}
			if namesThing(m, requests) && asForeign(m, requests) != codes.OK && w.rows(t, "tenant-b") != before { // anything else may be its own
				t.Error("something of the other tenant has changed")
			}
		})
	}
	w.discreet(t)
	t.Logf("%d bad messages tried (SEED=%d)", tried, seed)
}
