package chain

import (
	"fmt"
	"math"
	"reflect"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"example.com/steelyard/service/shape"
)

// unsigned makes each -0 of a request 0. To every rule and computation the two are
// one, but they are written differently, and a store, JSON and gRPC need not agree on
// which comes back. Answers are left alone, for some are shared between calls: what
// computes them says 0 - x where -x could be -0.
//
// It fails for a message type whose numbers it cannot reach, of which the contract has
// none.
func unsigned(m proto.Message) error {
	v := reflect.ValueOf(m)
	known, ok := unsigners.Load(v.Type())
	if !ok {
		u, err := unsignerOf(m.ProtoReflect().Type(), map[protoreflect.FullName]bool{})
		if err != nil {
			return fmt.Errorf("-0 of %s: %w", m.ProtoReflect().Descriptor().FullName(), err)
		}
		known, _ = unsigners.LoadOrStore(v.Type(), u)
	}
	if u := known.(unsigner); u != nil {
		u(v.Elem())
	}
	return nil
}

// unsigner does it for a message's struct, or a part of one. Nil stands for one that has
// no such number.
type unsigner func(reflect.Value)

// unsigners holds the unsigner of each message type that has come.
var unsigners sync.Map // of unsigner by reflect.Type

// unsignerOf makes the unsigner of a message type that lies within the others.
func unsignerOf(t protoreflect.MessageType, within map[protoreflect.FullName]bool) (unsigner, error) {
	name := t.Descriptor().FullName()
	if within[name] {
		return nil, fmt.Errorf("%s holds itself", name)
	}
	within[name] = true
	defer delete(within, name)
	fields, err := shape.Of(t)
	if err != nil {
		return nil, err
	}
	var parts []unsigner
	oneofs := map[int]*[]member{} // by place
	for _, f := range fields {
		u, err := unsignerOfField(f, within)
		switch {
		case err != nil:
			return nil, err
		case u == nil:
		case !f.InOneof():
			parts = append(parts, func(m reflect.Value) { u(m.Field(f.Place)) })
		case oneofs[f.Place] == nil:
			members := &[]member{{f.Of, u}}
			oneofs[f.Place] = members
			parts = append(parts, func(m reflect.Value) { unsignOneof(m.Field(f.Place), *members) })
		default:
			*oneofs[f.Place] = append(*oneofs[f.Place], member{f.Of, u})
		}
	}
	if parts == nil {
		return nil, nil
	}
	return func(m reflect.Value) {
		for _, u := range parts {
			u(m)
		}
	}, nil
}

// member is what the interface of a oneof holds for one of its members, and the
// unsigner of the value.
type member struct {
	of    reflect.Type
	value unsigner
}

func unsignOneof(v reflect.Value, members []member) {
	if v = v.Elem(); !v.IsValid() || v.IsNil() {
		return
	}
	for _, m := range members {
		if v.Type() == m.of {
			m.value(v.Elem().Field(0))
			return
		}
	}
}

func unsignerOfField(f shape.Field, within map[protoreflect.FullName]bool) (u unsigner, err error) {
	switch {
	case f.IsMap():
		return nil, fmt.Errorf("%s is a map", f.FullName())
	case f.Kind() == protoreflect.DoubleKind:
		u = func(v reflect.Value) {
			if x := v.Float(); x == 0 && math.Signbit(x) {
				v.SetFloat(0)
			}
		}
	case f.Message() != nil:
		t, err := protoregistry.GlobalTypes.FindMessageByName(f.Message().FullName())
		if err != nil {
			return nil, err
		}
		if u, err = unsignerOf(t, within); err != nil {
			return nil, err
		}
	}
	if u == nil {
		return nil, nil
	}
	if of := u; f.Message() != nil || f.HasPresence() && !f.InOneof() {
		u = func(v reflect.Value) {
			if !v.IsNil() {
				of(v.Elem())
			}
		}
	}
	if of := u; f.IsList() {
		u = func(v reflect.Value) {
			for i := range v.Len() {
				of(v.Index(i))
			}
		}
	}
	return u, nil
}
