package service_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"pgregory.net/rapid"

	"example.com/steelyard/service"
	"example.com/steelyard/testdata/trials"
)

// TestGRPCAndJSONAgree_Random sends the same random requests, good and bad, to two
// services of one past, to one by gRPC and to the other by JSON: the codes are the
// same, and so is every answer and every refusal, but where JSON cannot be decoded
// in the first place.
func TestGRPCAndJSONAgree_Random(t *testing.T) {
	batch := trials.Count(22, 1000) // requests a check, of 100 checks
	byGRPC, byJSON := newWorld(t, func(*service.Config) {}), newWorld(t, func(*service.Config) {})
	methods := contract()
	n, tried, good := 0, 0, 0
	rapid.Check(t, func(r *rapid.T) {
		for range batch {
			m := rapid.SampledFrom(methods).Draw(r, "method")
			in := ways(m)
			by := in[rapid.IntRange(1, len(in)-1).Draw(r, "binding")]
			n++
			requests := valid[fullName(m)](t, byGRPC.mine, n)
			valid[fullName(m)](t, byJSON.mine, n)
			requests = randomly(r, m, requests)
			if _, ok := spellAll(t, by.rule, requests); !ok {
				continue
			}
			a := byGRPC.call(t, in[0], "Bearer "+byGRPC.token, m, requests)
			b := byJSON.call(t, by, "Bearer "+byJSON.token, m, requests)
			tried++
			if a.code == codes.OK {
				good++
			}
			if what := disagree(t, m, a, b); what != "" {
				r.Fatalf("%s\n%v\ngRPC %q\nJSON %q", what, requests, a.text, b.text)
			}
		}
	})
	byGRPC.discreet(t)
	byJSON.discreet(t)
	t.Logf("%d requests by both ways, %d of them accepted", tried, good)
}

// undecoded is how JSON is refused before it is a message.
var undecoded = regexp.MustCompile(`does not have the form|is not valid JSON|is not a field of|must be a calendar date|has a parameter|the path is not valid|there is no such path`)

// disagree says in what two answers to one request differ; nothing where they agree.
func disagree(t *testing.T, m protoreflect.MethodDescriptor, byGRPC, byJSON heard) string {
	t.Helper()
	if byJSON.code != codes.OK && undecoded.MatchString(string(byJSON.problems)) {
		if byGRPC.code == codes.OK {
			return "JSON refuses what gRPC takes"
		}
		return ""
	}
	if byGRPC.code != byJSON.code {
		return "the codes differ"
	}
	if byGRPC.code != codes.OK && !proto.Equal(problemOf(t, byGRPC), problemOf(t, byJSON)) {
		return "the refusals differ"
	}
	plausible(t, string(m.Name()), m, byGRPC)
	plausible(t, string(m.Name()), m, byJSON)
	if m.Name() == "ListApiKeys" || m.Name() == "ListAuditRecords" {
		return "" // in the order of instants and random ids, so that a page holds others; the story compares them
	}
	a, b := messagesOf(t, m, byGRPC), messagesOf(t, m, byJSON)
	if !slices.EqualFunc(a, b, func(x, y proto.Message) bool { return proto.Equal(settled(x), settled(y)) }) {
		return fmt.Sprintf("the answers differ\n%v\n%v", a, b)
	}
	return ""
}

// randomly changes a few fields, mostly for a good value.
func randomly(r *rapid.T, m protoreflect.MethodDescriptor, requests []proto.Message) []proto.Message {
	fields := slices.DeleteFunc(places(m), func(p place) bool {
		// What names the thing makes another path. A body cannot be absent in JSON.
		return slices.ContainsFunc(idFields(m), func(f []string) bool { return strings.Join(f, ".") == p.String() }) || strings.HasSuffix(p.String(), ".name") ||
			(len(p.path) == 1 && p.field().Message() != nil && p.field().Message().ParentFile().Package() == "steelyard.v1")
	})
	if len(fields) == 0 {
		return requests
	}
	for range rapid.IntRange(0, 3).Draw(r, "changes") {
		p := rapid.SampledFrom(fields).Draw(r, "field")
		b := badValue{"random", goodValue(r, p.field())}
		if b.value == nil || rapid.IntRange(0, 4).Draw(r, "bad") == 0 {
			b = rapid.SampledFrom(slices.DeleteFunc(badValues(p.field()), func(b badValue) bool {
				if mask, ok := b.value.(*fieldmaskpb.FieldMask); ok && mask.GetPaths()[0] == "" {
					return true // as a query it is no mask at all
				}
				text, ok := b.value.(string)
				return b.class == "too many" || ok && (len(text) > 1<<16 || text != strings.ToValidUTF8(text, "")) // more than a query holds
			})).Draw(r, "value")
		}
		if changed := p.with(requests, b); changed != nil {
			requests = changed
		}
	}
	return requests
}

// goodValue is a value that is often in order; nil where there is none of the kind.
func goodValue(r *rapid.T, f protoreflect.FieldDescriptor) any {
	switch f.Kind() {
	case protoreflect.DoubleKind:
		return float64(rapid.IntRange(-10, 30_000).Draw(r, "number")) / 10
	case protoreflect.Int32Kind:
		return int32(rapid.IntRange(-1, 50).Draw(r, "int"))
	case protoreflect.EnumKind:
		return protoreflect.EnumNumber(rapid.IntRange(0, f.Enum().Values().Len()-1).Draw(r, "enum"))
	case protoreflect.StringKind:
		return rapid.SampledFrom([]string{"", "1", "press", "Etc/GMT+5", "a-b", "Two words", "žluť", "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11"}).Draw(r, "text")
	case protoreflect.MessageKind:
		if f.Message().FullName() == "google.type.Date" {
			return &date.Date{Year: 2025, Month: int32(rapid.IntRange(1, 12).Draw(r, "month")), Day: int32(rapid.IntRange(1, 31).Draw(r, "day"))}
		}
	}
	return nil
}
