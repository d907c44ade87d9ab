// Package shape tells where the Go struct of a message keeps each of its fields. What
// is done to every message that comes in reads the struct itself: package protoreflect
// asks 5 to 10 times the time for a field.
package shape

import (
	"fmt"
	"reflect"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// Field is a field of a message, and where its struct keeps it.
type Field struct {
	protoreflect.FieldDescriptor
	Place int          // of the struct's field; members of a oneof share an interface
	Of    reflect.Type // of a member of a oneof: what the interface holds, a pointer to a struct of this one field
}

// InOneof says whether the field shares its place with the other members of a oneof.
func (f Field) InOneof() bool { return f.Of != nil }

// Value returns what a message's struct holds of the field: a nil pointer, an empty
// list or zero where it is not set, and for a member of a oneof the zero Value.
func (f Field) Value(message reflect.Value) reflect.Value {
	v := message.Field(f.Place)
	if !f.InOneof() {
		return v
	}
	if v = v.Elem(); !v.IsValid() || v.Type() != f.Of || v.IsNil() {
		return reflect.Value{}
	}
	return v.Elem().Field(0)
}

// Of returns the fields of a message type in their order.
func Of(t protoreflect.MessageType) ([]Field, error) {
	of := reflect.TypeOf(t.Zero().Interface())
	if of.Kind() != reflect.Pointer || of.Elem().Kind() != reflect.Struct {
		return nil, fmt.Errorf("%s is no struct", of)
	}
	of = of.Elem()
	places := placesIn(of)
	var out []Field
	for i := range t.Descriptor().Fields().Len() {
		f := Field{FieldDescriptor: t.Descriptor().Fields().Get(i)}
		oneof, name := f.ContainingOneof(), string(f.Name())
		if oneof != nil && !oneof.IsSynthetic() {
			name = string(oneof.Name())
		}
		place, ok := places[name]
		if !ok {
			return nil, fmt.Errorf("%s does not show %s", of, f.Name())
		}
		f.Place = place
		if oneof != nil && !oneof.IsSynthetic() {
			m := t.New()
			m.Set(f.FieldDescriptor, m.NewField(f.FieldDescriptor))
			f.Of = reflect.ValueOf(m.Interface()).Elem().Field(place).Elem().Type()
		}
		out = append(out, f)
	}
	return out, nil
}

// placesIn returns where a struct shows which field, by its name or, for all members of
// a oneof, that of the oneof. A struct that hides a field (the opaque API) also keeps
// elsewhere whether it is set.
func placesIn(of reflect.Type) map[string]int {
	places := map[string]int{}
	for i := range of.NumField() {
		if !of.Field(i).IsExported() {
			continue
		}
		tag := of.Field(i).Tag
		if oneof, ok := tag.Lookup("protobuf_oneof"); ok {
			places[oneof] = i
		}
		for part := range strings.SplitSeq(tag.Get("protobuf"), ",") {
			if name, ok := strings.CutPrefix(part, "name="); ok {
				places[name] = i
			}
		}
	}
	return places
}
