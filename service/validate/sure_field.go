package validate

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service/shape"
)

// field compiles what holds for a field: the check of its place in the struct, and the
// check of its value once it is set, which is all that a member of a oneof has.
func (c compiler) field(f shape.Field, message *rules.MessageRules) (place, value check, err error) {
	own, err := protovalidate.ResolveFieldRules(f)
	if err != nil {
		return nil, nil, err
	}
	ignore := own.GetIgnore()
	for _, rule := range message.GetOneof() {
		if slices.Contains(rule.GetFields(), string(f.Name())) && !own.HasIgnore() {
			ignore = rules.Ignore_IGNORE_IF_ZERO_VALUE
		}
	}
	if ignore == rules.Ignore_IGNORE_ALWAYS {
		return nil, nil, nil
	}
	switch {
	case f.IsMap():
		err = errors.New("maps are not known here")
	case f.InOneof() && own.GetRequired():
		err = errors.New("a required member of a oneof is not known here")
	case f.IsList():
		value, err = c.list(f, own)
	default:
		value, err = c.value(f, own)
	}
	if err != nil || f.InOneof() {
		return nil, value, err
	}
	switch required := own.GetRequired(); {
	case f.HasPresence():
		place = pointer(value, required)
	case required:
		place = all(append([]check{func(v reflect.Value) bool { return !isEmpty(v) }}, some(value)...))
	case value != nil && ignore == rules.Ignore_IGNORE_IF_ZERO_VALUE:
		place = func(v reflect.Value) bool { return isEmpty(v) || value(v) }
	default:
		place = value
	}
	return place, value, nil
}

func some(c check) []check {
	if c == nil {
		return nil
	}
	return []check{c}
}

// pointer checks what a pointer points to, when it is set.
func pointer(value check, required bool) check {
	switch {
	case value == nil && !required:
		return nil
	case value == nil:
		return func(v reflect.Value) bool { return !v.IsNil() }
	}
	return func(v reflect.Value) bool {
		if v.IsNil() {
			return !required
		}
		return value(v.Elem())
	}
}

func isEmpty(v reflect.Value) bool {
	if v.Kind() == reflect.Slice {
		return v.Len() == 0
	}
	return v.IsZero()
}

// list compiles the rules of a list and of its elements.
func (c compiler) list(f shape.Field, own *rules.FieldRules) (check, error) {
	if err := knownOnly(own, "required", "ignore", "repeated"); err != nil {
		return nil, err
	}
	repeated := own.GetRepeated()
	if err := knownOnly(repeated, "min_items", "max_items", "unique", "items"); err != nil {
		return nil, err
	}
	least, most := repeated.GetMinItems(), uint64(math.MaxInt)
	if repeated.HasMaxItems() {
		most = repeated.GetMaxItems()
	}
	var element check
	switch ignore := repeated.GetItems().GetIgnore(); ignore {
	case rules.Ignore_IGNORE_ALWAYS:
	case rules.Ignore_IGNORE_UNSPECIFIED:
		var err error
		if element, err = c.value(f, repeated.GetItems()); err != nil {
			return nil, err
		}
		if f.Message() != nil && element != nil {
			element = pointer(element, true) // a list holds no nil
		}
	default:
		return nil, fmt.Errorf("%s of elements is not known here", ignore)
	}
	unique := repeated.GetUnique()
	if unique && f.Enum() == nil {
		return nil, errors.New("unique elements that are no enum are not known here")
	}
	if least == 0 && !repeated.HasMaxItems() && !unique && element == nil {
		return nil, nil
	}
	return func(v reflect.Value) bool {
		n := v.Len()
		if uint64(n) < least || uint64(n) > most {
			return false
		}
		for i := 0; element != nil && i < n; i++ {
			if !element(v.Index(i)) {
				return false
			}
		}
		return !unique || differ(v)
	}, nil
}

// differ tells that no two elements of a list of an enum are the same. Those past 63 are
// left to the full rules.
func differ(list reflect.Value) bool {
	seen := uint64(0)
	for i := range list.Len() {
		n := list.Index(i).Int()
		if n < 0 || n > 63 || seen>>n&1 == 1 {
			return false
		}
		seen |= 1 << n
	}
	return true
}

// value compiles the rules of one value: of a message behind its pointer, and of a
// number, a text, ... itself.
func (c compiler) value(f shape.Field, own *rules.FieldRules) (check, error) {
	if f.Message() != nil {
		t, err := typeOf(f)
		if err == nil {
			err = knownOnly(own, "required", "ignore")
		}
		if err != nil {
			return nil, err
		}
		below, err := c.message(t)
		if err != nil || below == nil || f.Cardinality() == protoreflect.Repeated || !f.InOneof() {
			return below, err
		}
		return pointer(below, true), nil // the interface is the presence of a member
	}
	out, err := scalar(f, own)
	if err != nil {
		return nil, err
	}
	for _, rule := range own.GetCel() {
		c, err := expression(rule.GetExpression(), nil)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return all(out), nil
}

// scalar compiles the rules of a number, a text, ... without its expressions.
func scalar(f protoreflect.FieldDescriptor, own *rules.FieldRules) ([]check, error) {
	kind := map[protoreflect.Kind]protoreflect.Name{
		protoreflect.DoubleKind: "double", protoreflect.Int32Kind: "int32", protoreflect.EnumKind: "enum", protoreflect.StringKind: "string",
	}[f.Kind()]
	if err := knownOnly(own, "required", "ignore", "cel", kind); err != nil {
		return nil, err
	}
	switch {
	case own.HasDouble():
		return double(own.GetDouble())
	case own.HasInt32():
		return int32s(own.GetInt32())
	case own.HasEnum():
		return enum(f.Enum(), own.GetEnum())
	case own.HasString():
		return text(own.GetString())
	}
	return nil, nil
}

func double(own *rules.DoubleRules) ([]check, error) {
	if err := knownOnly(own, "gte", "lte", "finite"); err != nil {
		return nil, err
	}
	// Always finite: to take an infinity where it is allowed is left to the full rules.
	least, most := -math.MaxFloat64, math.MaxFloat64
	if own.HasGte() {
		least = own.GetGte()
	}
	if own.HasLte() {
		most = own.GetLte()
	}
	if !(least <= most) {
		return nil, errors.New("bounds that exclude what lies between them are not known here")
	}
	return []check{func(v reflect.Value) bool {
		x := v.Float()
		return x >= least && x <= most
	}}, nil
}

func int32s(own *rules.Int32Rules) ([]check, error) {
	if err := knownOnly(own, "gte", "lte"); err != nil {
		return nil, err
	}
	least, most := int64(math.MinInt32), int64(math.MaxInt32)
	if own.HasGte() {
		least = int64(own.GetGte())
	}
	if own.HasLte() {
		most = int64(own.GetLte())
	}
	if least > most {
		return nil, errors.New("bounds that exclude what lies between them are not known here")
	}
	return []check{func(v reflect.Value) bool {
		n := v.Int()
		return n >= least && n <= most
	}}, nil
}

func enum(d protoreflect.EnumDescriptor, own *rules.EnumRules) ([]check, error) {
	if err := knownOnly(own, "defined_only", "not_in"); err != nil {
		return nil, err
	}
	var allowed []int64 // what is not defined is left to the full rules
	for i := range d.Values().Len() {
		if n := int32(d.Values().Get(i).Number()); !slices.Contains(own.GetNotIn(), n) {
			allowed = append(allowed, int64(n))
		}
	}
	return []check{func(v reflect.Value) bool { return slices.Contains(allowed, v.Int()) }}, nil
}
