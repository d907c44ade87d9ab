package validate

import (
	"cmp"
	"fmt"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/shape"
)

// TestCompile_KnowsEveryRule: a rule that is new here would send every message of its
// type to the full rules, which is right, but slow.
func TestCompile_KnowsEveryRule(t *testing.T) {
	for _, m := range requests(t) {
		if _, err := compile(m); err != nil {
			t.Error(err)
		}
	}
}

// TestSurely_AgreesWithTheFullRules: what it takes the full rules take, and of what they
// take it takes nearly all.
func TestSurely_AgreesWithTheFullRules(t *testing.T) {
	seed, err := strconv.ParseUint(cmp.Or(os.Getenv("SEED"), fmt.Sprint(time.Now().UnixNano())), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("SEED=%d makes the same run again", seed)
	few, many := newGenerator(seed, 0.01), newGenerator(seed, 0.1)
	for _, of := range requests(t) {
		name := of.Descriptor().FullName()
		rulesKept, rulesBroken, sure := 0, 0, 0
		for i := range 3000 {
			m := few.one(of)
			if i%2 == 0 {
				m = many.one(of)
			}
			kept := protovalidate.Validate(m) == nil
			is := surely(m)
			switch {
			case is && !kept:
				t.Fatalf("%s is taken for good: %s: %v", name, prototext.Format(m), protovalidate.Validate(m))
			case is:
				sure++
			}
			if kept {
				rulesKept++
			} else {
				rulesBroken++
			}
		}
		if rulesKept < 500 {
			t.Errorf("%s: only %d of 3000 keep the rules", name, rulesKept)
		}
		if c, err := compile(of); err == nil && c != nil && rulesBroken < 50 {
			t.Errorf("%s: only %d of 3000 break a rule", name, rulesBroken)
		}
		if float64(sure) < 0.99*float64(rulesKept) {
			t.Errorf("%s: of %d good ones it is sure of %d", name, rulesKept, sure)
		}
	}
}

// FuzzSurely gives it what no rule has shaped.
func FuzzSurely(f *testing.F) {
	all := requests(f)
	g := newGenerator(1, 0.05)
	for i, of := range all {
		for range 3 {
			raw, err := proto.MarshalOptions{AllowPartial: true}.Marshal(g.one(of))
			if err == nil { // not when a text is not UTF-8
				f.Add(uint8(i), raw)
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, raw []byte) {
		m := all[int(which)%len(all)].New().Interface()
		if err := proto.Unmarshal(raw, m); err != nil {
			return // nothing to judge
		}
		if err := protovalidate.Validate(m); err != nil && surely(m) {
			t.Errorf("%s is taken for good: %v", prototext.Format(m), err)
		}
	})
}

// TestSurely_AsksAboutWhatNoDecoderMakes: what has nil where a message should be is
// left to the full rules.
func TestSurely_AsksAboutWhatNoDecoderMakes(t *testing.T) {
	good := newGenerator(1, 0).one((&pb.Entry{}).ProtoReflect().Type()).(*pb.Entry)
	if !surely(good) {
		t.Fatal("not even of a good entry is it sure")
	}
	list := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{good}}
	if !surely(list) {
		t.Fatal("not even of a good list is it sure")
	}
	list.Entries = append(list.Entries, nil)
	for what, m := range map[string]proto.Message{
		"nil": nil, "a nil message": (*pb.Entry)(nil), "a list with nil": list,
		"an empty oneof member": &pb.Entry{Date: good.GetDate(), Fact: &pb.Entry_PhotoSet{}},
		"a nil oneof member":    &pb.Entry{Date: good.GetDate(), Fact: (*pb.Entry_PhotoSet)(nil)},
	} {
		if surely(m) {
			t.Errorf("it is sure of %s", what)
		}
	}
}

// TestCompile_DoesNotGuess: what it does not know of rules, patterns, expressions and
// types is an error.
func TestCompile_DoesNotGuess(t *testing.T) {
	mass := (&pb.Mass{}).ProtoReflect().Descriptor().Fields().ByName("value")
	late := &rules.DoubleRules{}
	late.ProtoReflect().SetUnknown([]byte{0xf8, 0x7f, 1})
	for what, compiled := range map[string]error{
		"double gt":                               second(double(rules.DoubleRules_builder{Gt: proto.Float64(0)}.Build())),
		"double bounds that exclude":              second(double(rules.DoubleRules_builder{Gte: proto.Float64(1), Lte: proto.Float64(0)}.Build())),
		"int32 lt":                                second(int32s(rules.Int32Rules_builder{Lt: proto.Int32(1)}.Build())),
		"int32 bounds that exclude":               second(int32s(rules.Int32Rules_builder{Gte: proto.Int32(1), Lte: proto.Int32(0)}.Build())),
		"enum in":                                 second(enum(pb.MassUnit(0).Descriptor(), rules.EnumRules_builder{In: []int32{1}}.Build())),
		"string prefix":                           second(text(rules.StringRules_builder{Prefix: proto.String("a")}.Build())),
		"string length in bytes":                  second(text(rules.StringRules_builder{LenBytes: proto.Uint64(7)}.Build())),
		"string email":                            second(text(rules.StringRules_builder{Email: proto.Bool(true)}.Build())),
		"rules of another kind":                   second(scalar(mass, rules.FieldRules_builder{Int64: rules.Int64Rules_builder{Gte: proto.Int64(7)}.Build()}.Build())),
		"an expression in the short form":         second(scalar(mass, rules.FieldRules_builder{CelExpression: []string{"this > 0.0"}}.Build())),
		"a rule that this program has never seen": second(double(late)),
		"a map":                    second(compile((&structpb.Struct{}).ProtoReflect().Type())),
		"a type that holds itself": second(compile((&structpb.ListValue{}).ProtoReflect().Type())),
	} {
		if compiled == nil {
			t.Errorf("%s is known", what)
		}
	}
	fields, err := shape.Of((&pb.BackfillEntriesRequest{}).ProtoReflect().Type())
	if err != nil || second(oneofOf([]string{"batch", "opening"}, fields)) != nil {
		t.Fatal("not even a oneof is known", err)
	}
	for _, names := range [][]string{nil, {"opening"}, {"opening", "elsewhere"}, {"elsewhere"}, {"opening", "batch", "elsewhere"}} {
		if second(oneofOf(names, fields)) == nil {
			t.Errorf("%q are a oneof", names)
		}
	}
	if fields, err = shape.Of((&pb.Activity{}).ProtoReflect().Type()); err != nil || second(oneofOf([]string{"steps"}, fields)) == nil {
		t.Error("an optional field is a oneof", err)
	}
	for _, p := range []string{"a", "^a", "a$", "(?i)^a$", "^a|b$", "^(ab)*$", "^(ab|c)$", "^[a-é]$", "^é$", "^.$", "(?m)^a$", `^\ba$`, "(", "^(ab){2}$"} {
		if second(matcher(p)) == nil {
			t.Errorf("the pattern %s is known", p)
		}
	}
	for _, e := range []string{"this.size() > 3", "this > 3", "this == 'a'", "this.x == 1", "has(this.x)", "1 == this", "true", "this", "this ? 1 : 2", "this == 1 + 2", "("} {
		if second(expression(e, nil)) == nil {
			t.Errorf("the expression %s is known", e)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestMatcher_TakesOnlyWhatThePatternTakes(t *testing.T) {
	for pattern, c := range map[string]struct{ sure, not []string }{
		`^([a-z0-9][a-z0-9-]{0,3})?$`: {[]string{"", "a", "a-b", "abcd"}, []string{"-", "abcde", "a\n", "A", "é"}},
		`^[0-9]{2,}/x$`:               {[]string{"12/x", "12345/x"}, []string{"1/x", "12/", "12/xx", "12", ""}},
		`^ab{0,1}$`:                   {[]string{"a", "ab"}, []string{"abb", "b", ""}},
		uuidPattern:                   {[]string{"0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", "0D5A6FE5-6C8A-4A4C-B3F4-2F3C1E0A9B11"}, []string{"0d5a6fe56c8a4a4cb3f42f3c1e0a9b11", strings.Repeat("a", 36)}},
	} {
		match, err := matcher(pattern)
		if err != nil {
			t.Error(err)
			continue
		}
		for _, s := range c.sure {
			if !match(s) {
				t.Errorf("%s: not sure of %q", pattern, s)
			}
		}
		for _, s := range c.not {
			if match(s) {
				t.Errorf("%s: sure of %q", pattern, s)
			}
		}
	}
}

func TestExpression(t *testing.T) {
	for source, c := range map[string]struct{ yes, no []int32 }{
		"this == 0 || this >= 30 && this <= 40": {[]int32{0, 30, 40}, []int32{-1, 1, 29, 41}},
		"!(this == 1)":                          {[]int32{0, 2}, []int32{1}},
	} {
		check, err := expression(source, nil)
		if err != nil {
			t.Error(err)
			continue
		}
		for i, n := range append(c.yes, c.no...) {
			if got, want := check(reflect.ValueOf(n)), i < len(c.yes); got != want {
				t.Errorf("%s of %d is %v", source, n, got)
			}
		}
	}
}
