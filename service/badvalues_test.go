package service_test

import (
	"math"
	"strings"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// badValue is a value that a field of its kind has to be proof against. It may be
// a good one for some field.
type badValue struct {
	class string
	value any // as the kind's Go type; a list holds so many of its first element when it is an int
}

// badValues are the values for a field, by its kind.
func badValues(f protoreflect.FieldDescriptor) []badValue {
	out := badElements(f)
	if !f.IsList() {
		return out
	}
	for i := range out {
		out[i].class = "first: " + out[i].class
	}
	return append(out, badValue{"none", 0}, badValue{"twice the same", 2}, badValue{"too many", 1001})
}

func badElements(f protoreflect.FieldDescriptor) []badValue {
	switch f.Kind() {
	case protoreflect.DoubleKind:
		return []badValue{
			{"NaN", math.NaN()}, {"+Inf", math.Inf(1)}, {"-Inf", math.Inf(-1)}, {"-0", math.Copysign(0, -1)}, {"0", 0.0},
			{"negative", -1.5}, {"huge", 1e308}, {"-huge", -1e308}, {"subnormal", 5e-324}, {"tiny", 1e-300}, {"17 digits", 0.30000000000000004},
		}
	case protoreflect.Int32Kind:
		return []badValue{{"least", int32(math.MinInt32)}, {"-1", int32(-1)}, {"0", int32(0)}, {"million", int32(1e6)}, {"greatest", int32(math.MaxInt32)}}
	case protoreflect.EnumKind:
		return []badValue{{"unspecified", protoreflect.EnumNumber(0)}, {"unknown", protoreflect.EnumNumber(999)}, {"negative", protoreflect.EnumNumber(-1)}}
	case protoreflect.StringKind:
		return badTexts
	case protoreflect.BoolKind:
		return []badValue{{"true", true}, {"false", false}}
	case protoreflect.MessageKind:
		return badMessages(f.Message().FullName())
	}
	panic("no bad values for " + f.Kind().String())
}

var badTexts = []badValue{
	{"empty", ""}, {"2,000 letters", strings.Repeat("x", 2000)}, {"1 MiB", strings.Repeat("x", 1<<20)}, {"NUL", "a\x00b"},
	{"invalid UTF-8", "a\xff\xfeb"}, {"surrogate", "\xed\xa0\x80"}, {"overlong", "\xc0\xaf"}, {"byte order mark", "\ufeffa"}, {"right to left", "a\u202eb"},
	{"decomposed", "e\u0301"}, {"zero width", "a\u200bb"}, {"trailing space", "a "}, {"path", "../../etc/passwd"}, {"escaped slash", "trainees%2fheron-1"},
	{"line break", "a\r\nX-Injected: 1"}, {"quotes", `a'";--`}, {"template", "${a}{{b}}%s%d"}, {"wildcard", "trainees/-"}, {"slashes", "trainees//plans//"},
	{"capitals", "TRAINEES/HERON-1"}, {"Local", "Local"}, {"homoglyph", "trainees/h\u0435ron-1"},
}

func badMessages(name protoreflect.FullName) []badValue {
	none := []badValue{{"absent", nil}, {"empty", proto.Message(nil)}}
	switch name {
	case "google.type.Date":
		for _, d := range [][3]int32{
			{1, 1, 1}, {1899, 12, 31}, {1969, 12, 31}, {9999, 12, 31}, {10000, 1, 1}, {2025, 2, 29}, {2100, 2, 29}, {2025, 4, 31}, {2025, 0, 1}, {2025, 1, 0}, {2025, 13, 1},
			{0, 1, 1}, {-1, 1, 1}, {2025, -1, -1}, {math.MaxInt32, math.MaxInt32, math.MaxInt32}, {math.MinInt32, math.MinInt32, math.MinInt32}, {2025, 3, 0}, {0, 0, 5},
		} {
			none = append(none, badValue{"date", &date.Date{Year: d[0], Month: d[1], Day: d[2]}})
		}
	case "google.protobuf.Timestamp":
		for _, s := range [][2]int64{{-62135596801, 0}, {253402300800, 0}, {1, -1}, {1, 1e9}, {math.MaxInt64, 0}, {math.MinInt64, 0}, {0, 0}, {-1, 0}} {
			none = append(none, badValue{"instant", &timestamppb.Timestamp{Seconds: s[0], Nanos: int32(s[1])}})
		}
	case "google.protobuf.FieldMask":
		for _, p := range []string{"*", "", "bogus", "name", "name.deep", "plan.name.deep.deeper", "a..b", ".", "create_time", "revision", "a b", "\u202e", strings.Repeat("x.", 500)} {
			none = append(none, badValue{"mask", &fieldmaskpb.FieldMask{Paths: []string{p}}})
		}
	}
	return none
}

// set puts a bad value into a message; it returns false where the value says nothing.
func (b badValue) set(m protoreflect.Message, f protoreflect.FieldDescriptor) bool {
	if count, ok := b.value.(int); ok {
		list := m.Mutable(f).List()
		if list.Len() == 0 {
			list.Append(element(list, f))
		}
		first := list.Get(0)
		list.Truncate(0)
		for range count {
			list.Append(first)
		}
		return true
	}
	value := b.value
	if empty, ok := value.(proto.Message); ok || b.class == "empty" && f.Message() != nil {
		value = m.NewField(f).Interface()
		if f.IsList() {
			value = m.NewField(f).List().NewElement().Interface()
		}
		if empty != nil {
			value = empty.ProtoReflect()
		}
	}
	switch {
	case f.IsList():
		list := m.Mutable(f).List()
		if value == nil {
			return false
		}
		if list.Len() == 0 {
			list.Append(element(list, f))
		}
		list.Set(0, protoreflect.ValueOf(value))
	case value == nil:
		m.Clear(f)
	default:
		m.Set(f, protoreflect.ValueOf(value))
	}
	return true
}

// element is one that a list may hold.
func element(list protoreflect.List, f protoreflect.FieldDescriptor) protoreflect.Value {
	if f.Enum() != nil {
		return protoreflect.ValueOfEnum(1)
	}
	e := list.NewElement()
	if f.Message() != nil {
		proto.Merge(e.Message().Interface(), sample(f.Message()))
	}
	return e
}
