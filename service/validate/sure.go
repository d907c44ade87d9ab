package validate

import (
	"fmt"
	"reflect"
	"slices"
	"sync"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"example.com/steelyard/service/shape"
)

// check tells that a value surely keeps its rules. When it says no, that means ask. Nil
// stands for a check of nothing.
type check func(reflect.Value) bool

// surely tells that a message keeps the contract's rules, in a fraction of the time
// that the full rules need. When it says no, the full rules have to be asked: they alone
// refuse, and say why.
func surely(m proto.Message) bool {
	v := reflect.ValueOf(m)
	if v.Kind() != reflect.Pointer || v.IsNil() {
		return false
	}
	known, ok := compiled.Load(v.Type())
	if !ok {
		known, _ = compiled.LoadOrStore(v.Type(), compileOrAsk(m))
	}
	c := known.(check)
	return c == nil || c(v.Elem())
}

// compiled holds the check of each message type that has come.
var compiled sync.Map // of check by reflect.Type

func compileOrAsk(m proto.Message) check {
	c, err := compile(m.ProtoReflect().Type())
	if err != nil {
		return func(reflect.Value) bool { return false }
	}
	return c
}

// compile makes a check of the rules that the contract declares on a message type and
// on those below it. It fails when it does not know one of them.
func compile(t protoreflect.MessageType) (check, error) { return compiler{}.message(t) }

// compiler holds the message types that are being compiled, so that one which holds
// itself ends.
type compiler map[protoreflect.FullName]bool

func (c compiler) message(t protoreflect.MessageType) (check, error) {
	name := t.Descriptor().FullName()
	if c[name] {
		return nil, fmt.Errorf("%s holds itself", name)
	}
	c[name] = true
	defer delete(c, name)
	fields, err := shape.Of(t)
	if err != nil {
		return nil, err
	}
	own, err := protovalidate.ResolveMessageRules(t.Descriptor())
	if err != nil {
		return nil, err
	}
	out, err := messageRules(own, fields)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	members := map[protoreflect.Name][]member{}
	for _, f := range fields {
		place, v, err := c.field(f, own)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.FullName(), err)
		}
		if f.InOneof() {
			oneof := f.ContainingOneof().Name()
			members[oneof] = append(members[oneof], member{f, v})
		} else if place != nil {
			out = append(out, at(f.Place, place))
		}
	}
	for i := range t.Descriptor().Oneofs().Len() {
		oneof := t.Descriptor().Oneofs().Get(i)
		if oneof.IsSynthetic() {
			continue
		}
		own, err := protovalidate.ResolveOneofRules(oneof)
		if err == nil {
			err = knownOnly(own, "required")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", oneof.FullName(), err)
		}
		of := members[oneof.Name()]
		out = append(out, at(of[0].field.Place, oneofCheck(of, own.GetRequired())))
	}
	return all(out), nil
}

// at checks the struct's field at a place.
func at(place int, c check) check {
	return func(m reflect.Value) bool { return c(m.Field(place)) }
}

func all(checks []check) check {
	switch len(checks) {
	case 0:
		return nil
	case 1:
		return checks[0]
	}
	return func(v reflect.Value) bool {
		for _, c := range checks {
			if !c(v) {
				return false
			}
		}
		return true
	}
}

// member is a member of a oneof, and the check of its value.
type member struct {
	field shape.Field
	value check
}

func oneofCheck(members []member, required bool) check {
	return func(v reflect.Value) bool {
		if v.IsNil() {
			return !required
		}
		v = v.Elem()
		for _, m := range members {
			if v.Type() == m.field.Of {
				return !v.IsNil() && (m.value == nil || m.value(v.Elem().Field(0)))
			}
		}
		return false
	}
}

// messageRules compiles the rules on a message itself.
func messageRules(own *rules.MessageRules, fields []shape.Field) ([]check, error) {
	if err := knownOnly(own, "cel", "oneof"); err != nil {
		return nil, err
	}
	var out []check
	for _, rule := range own.GetCel() {
		c, err := expression(rule.GetExpression(), fields)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	for _, rule := range own.GetOneof() {
		if err := knownOnly(rule, "fields", "required"); err != nil {
			return nil, err
		}
		place, err := oneofOf(rule.GetFields(), fields)
		if err != nil {
			return nil, err
		}
		out = append(out, at(place, func(v reflect.Value) bool { return !v.IsNil() || !rule.GetRequired() }))
	}
	return out, nil
}

// oneofOf returns the place of the oneof whose members the named fields are, all of
// them: of those not two can be set.
func oneofOf(names []string, fields []shape.Field) (place int, err error) {
	found := 0
	for _, f := range fields {
		if !slices.Contains(names, string(f.Name())) {
			continue
		}
		if !f.InOneof() || f.ContainingOneof().Fields().Len() != len(names) || found > 0 && f.Place != place {
			return 0, fmt.Errorf("that only one of %q may be set, though they are no oneof, is not known here", names)
		}
		place = f.Place
		found++
	}
	if found == 0 || found != len(names) {
		return 0, fmt.Errorf("the fields %q are not there", names)
	}
	return place, nil
}

// has tells whether a field is set, as protobuf means it.
func has(f shape.Field, message reflect.Value) bool {
	v := f.Value(message)
	switch {
	case !v.IsValid():
		return false
	case f.InOneof():
		return true
	case f.IsList():
		return v.Len() > 0
	}
	return !v.IsZero()
}

// knownOnly fails when rules are set that are not among the known ones.
func knownOnly(m proto.Message, known ...protoreflect.Name) (err error) {
	r := m.ProtoReflect()
	r.Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		if !slices.Contains(known, f.Name()) || f.IsExtension() {
			err = fmt.Errorf("the rule %s is not known here", f.FullName())
		}
		return err == nil
	})
	if err == nil && len(r.GetUnknown()) > 0 {
		err = fmt.Errorf("%s has rules that are not known here", r.Descriptor().FullName())
	}
	return err
}

// typeOf returns the Go type of the messages that a field holds.
func typeOf(f protoreflect.FieldDescriptor) (protoreflect.MessageType, error) {
	return protoregistry.GlobalTypes.FindMessageByName(f.Message().FullName())
}
