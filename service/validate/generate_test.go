package validate

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"pgregory.net/rapid"

	_ "example.com/steelyard/api/steelyard/v1"
)

// requests are the types of the messages that callers send and of all that lie in
// them, by name.
func requests(t testing.TB) []protoreflect.MessageType {
	t.Helper()
	var out []protoreflect.MessageType
	var add func(d protoreflect.MessageDescriptor)
	add = func(d protoreflect.MessageDescriptor) {
		m, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(out, m) {
			return
		}
		out = append(out, m)
		for i := range d.Fields().Len() {
			if below := d.Fields().Get(i).Message(); below != nil {
				add(below)
			}
		}
	}
	protoregistry.GlobalFiles.RangeFilesByPackage("steelyard.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				add(f.Services().Get(i).Methods().Get(j).Input())
			}
		}
		return true
	})
	slices.SortFunc(out, func(a, b protoreflect.MessageType) int {
		return strings.Compare(string(a.Descriptor().FullName()), string(b.Descriptor().FullName()))
	})
	if len(out) < 40 {
		t.Fatalf("only %d types", len(out))
	}
	return out
}

// generator makes messages whose values keep the rules of their fields, at the bounds
// more often than between, except for a few that break one.
type generator struct {
	*rand.Rand
	bad   float64 // how often a value breaks a rule
	texts map[string][]string
}

func newGenerator(seed uint64, bad float64) *generator {
	return &generator{rand.New(rand.NewPCG(seed, 5)), bad, map[string][]string{}}
}

func (g *generator) one(t protoreflect.MessageType) proto.Message {
	m := t.New()
	g.fill(m)
	return m.Interface()
}

func (g *generator) fill(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		own, _ := protovalidate.ResolveFieldRules(f)
		switch oneof := f.ContainingOneof(); {
		case oneof != nil && !oneof.IsSynthetic():
			if i != oneof.Fields().Get(0).Index() || g.isBad() {
				continue // chosen with the first
			}
			f = oneof.Fields().Get(g.IntN(oneof.Fields().Len()))
			own, _ = protovalidate.ResolveFieldRules(f)
		case own.GetRequired():
			if g.isBad() {
				continue
			}
		case f.HasPresence() && g.IntN(3) == 0:
			continue
		}
		if f.IsList() {
			g.list(m.Mutable(f).List(), f, own.GetRepeated())
			continue
		}
		m.Set(f, g.value(m.NewField(f), f, own))
	}
}

func (g *generator) list(l protoreflect.List, f protoreflect.FieldDescriptor, own *rules.RepeatedRules) {
	most := uint64(3)
	if own.HasMaxItems() {
		most = min(most, own.GetMaxItems())
	}
	n := own.GetMinItems() + g.Uint64N(most-min(most, own.GetMinItems())+1)
	if g.isBad() && own.GetMaxItems() < 20 {
		n = own.GetMaxItems() + 1
	} else if g.isBad() {
		n = 0
	}
	for range n {
		v := g.value(l.NewElement(), f, own.GetItems())
		for unique := own.GetUnique() && !g.isBad(); unique && contains(l, v); {
			v = g.value(l.NewElement(), f, own.GetItems())
		}
		l.Append(v)
	}
}

func contains(l protoreflect.List, v protoreflect.Value) bool {
	for i := range l.Len() {
		if l.Get(i).Equal(v) {
			return true
		}
	}
	return false
}

func (g *generator) isBad() bool { return g.Float64() < g.bad }

// value makes a value of a field; zero is the field's own.
func (g *generator) value(zero protoreflect.Value, f protoreflect.FieldDescriptor, own *rules.FieldRules) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.MessageKind:
		g.fill(zero.Message())
		return zero
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(g.IntN(2) == 0)
	case protoreflect.DoubleKind:
		least, most := -1e6, 1e6
		if d := own.GetDouble(); d.HasGte() {
			least = d.GetGte()
		}
		if d := own.GetDouble(); d.HasLte() {
			most = d.GetLte()
		}
		out := []float64{least, most, least + (most-least)*g.Float64(), min(max(math.Copysign(0, -1), least), most)}
		if g.isBad() {
			out = []float64{math.Nextafter(least, -math.MaxFloat64), math.Nextafter(most, math.MaxFloat64), math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64}
		}
		return protoreflect.ValueOfFloat64(out[g.IntN(len(out))])
	case protoreflect.Int32Kind:
		least, most := int32(-1e6), int32(1e6)
		if n := own.GetInt32(); n.HasGte() {
			least = n.GetGte()
		}
		if n := own.GetInt32(); n.HasLte() {
			most = n.GetLte()
		}
		out := []int32{least, most, least + g.Int32N(most-least+1)}
		if own.GetCel() != nil {
			out = []int32{0, 30, 31, 36500}
		}
		if g.isBad() {
			out = []int32{least - 1, most + 1, math.MinInt32, math.MaxInt32, 29, 36501}
		}
		return protoreflect.ValueOfInt32(out[g.IntN(len(out))])
	case protoreflect.EnumKind:
		n := protoreflect.EnumNumber(g.IntN(f.Enum().Values().Len()))
		if n == 0 && !g.isBad() {
			n = 1
		}
		if g.isBad() {
			n = []protoreflect.EnumNumber{-1, 63, 64, 999}[g.IntN(4)]
		}
		return protoreflect.ValueOfEnum(n)
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(g.text(own.GetString(), own.GetIgnore() == rules.Ignore_IGNORE_IF_ZERO_VALUE))
	case protoreflect.BytesKind, protoreflect.Int64Kind:
		return zero
	}
	panic("no value for " + f.Kind().String())
}

func (g *generator) text(own *rules.StringRules, mayBeEmpty bool) string {
	pattern := own.GetPattern()
	if own.GetUuid() {
		pattern = uuidPattern
	}
	out := own.GetConst()
	switch {
	case mayBeEmpty && g.IntN(3) == 0:
		return ""
	case pattern != "":
		if g.texts[pattern] == nil {
			for i := range 50 {
				g.texts[pattern] = append(g.texts[pattern], rapid.StringMatching(pattern).Example(i))
			}
		}
		out = g.texts[pattern][g.IntN(50)]
	case out == "":
		least, most := own.GetMinLen(), uint64(30)
		if own.HasMaxLen() {
			most = own.GetMaxLen()
		}
		n := []uint64{least, most, least + g.Uint64N(most-least+1)}[g.IntN(3)]
		if g.isBad() {
			n = []uint64{most + 1, 0}[g.IntN(2)]
		}
		out = strings.Repeat([]string{"a", "é", "字", "𝄞"}[g.IntN(4)], int(n))
	}
	if g.isBad() && out != "" {
		at := g.IntN(len(out))
		switch g.IntN(5) {
		case 0:
			out = strings.ToUpper(out)
		case 1:
			out = out[:at] + out[at+1:]
		case 2:
			out = out[:at] + []string{"é", "\n", "/", "-", "\xff", "\x00"}[g.IntN(6)] + out[at:]
		case 3:
			out += out
		case 4:
			out += "\n"
		}
	}
	return out
}
