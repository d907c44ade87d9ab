package service_test

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
)

// place is a field of a request, or of the n-th request of a stream.
type place struct {
	request int
	path    []protoreflect.FieldDescriptor // the last is the field; lists on the way are meant at their first element
}

func (p place) field() protoreflect.FieldDescriptor { return p.path[len(p.path)-1] }

// String spells the place as errors do.
func (p place) String() string {
	parts := make([]string, len(p.path))
	for i, f := range p.path {
		parts[i] = string(f.Name())
		if f.IsList() && i < len(p.path)-1 {
			parts[i] += "[0]"
		}
	}
	return strings.Join(parts, ".")
}

// places are all fields of a method's requests, nested ones and elements of lists too.
// What the service alone writes is a place, and nothing in it.
func places(m protoreflect.MethodDescriptor) []place {
	var out []place
	var walk func(int, protoreflect.MessageDescriptor, []protoreflect.FieldDescriptor)
	walk = func(request int, d protoreflect.MessageDescriptor, path []protoreflect.FieldDescriptor) {
		for i := range d.Fields().Len() {
			f := d.Fields().Get(i)
			if m.IsStreamingClient() && len(path) == 0 {
				request = i // a step each
			}
			here := append(append([]protoreflect.FieldDescriptor(nil), path...), f)
			out = append(out, place{request, here})
			if f.Message() != nil && f.Message().ParentFile().Package() == "steelyard.v1" && !isOutput(f) {
				walk(request, f.Message(), here)
			}
		}
	}
	walk(0, m.Input(), nil)
	return out
}

// with is a copy of the requests with a bad value at the place; nil where it says nothing.
func (p place) with(requests []proto.Message, b badValue) []proto.Message {
	out := append([]proto.Message(nil), requests...)
	out[p.request] = proto.Clone(requests[p.request])
	if !b.set(p.parent(out[p.request].ProtoReflect()), p.field()) {
		return nil
	}
	return out
}

// parent is the message that holds the field. What is missing on the way is filled in.
func (p place) parent(at protoreflect.Message) protoreflect.Message {
	for _, f := range p.path[:len(p.path)-1] {
		switch {
		case f.IsList():
			list := at.Mutable(f).List()
			if list.Len() == 0 {
				list.Append(element(list, f))
			}
			at = list.Get(0).Message()
		case at.Has(f):
			at = at.Mutable(f).Message()
		default:
			at.Set(f, protoreflect.ValueOfMessage(sample(f.Message()).ProtoReflect()))
			at = at.Mutable(f).Message()
		}
	}
	return at
}

// sample is a message that is valid as a part of a request.
func sample(d protoreflect.MessageDescriptor) proto.Message {
	kg, kcal := &pb.Mass{Value: 80, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, &pb.Energy{Value: 500, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}
	for _, m := range []proto.Message{
		kg, kcal, weighIn(20, 80), &pb.WeighIn{Weight: kg}, &pb.Intake{Energy: kcal}, &pb.Activity{Steps: proto.Int32(9000)},
		&pb.LiftSet{Lift: "press", Load: kg, Reps: 5}, &pb.Tape{WaistCm: proto.Float64(90)}, &pb.BodyFat{BodyFatPct: 20, Method: pb.BodyFatMethod_BODY_FAT_METHOD_DXA},
		&pb.CheckIn{Sleep: proto.Int32(3)}, &pb.PhotoSet{Reference: "album"}, &pb.Mark{Of: pb.MarkKind_MARK_KIND_REFEED}, &pb.Target{IntakeKcal: 2200},
		&pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_READ}},
	} {
		if m.ProtoReflect().Descriptor().FullName() == d.FullName() {
			return proto.Clone(m)
		}
	}
	panic(fmt.Sprintf("no sample of a %s: add one", d.FullName()))
}
