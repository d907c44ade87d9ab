package shape

import (
	"reflect"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestOf sets each field of each message of the contract in turn, and finds it, and it
// alone, set in the struct.
func TestOf(t *testing.T) {
	tried := 0
	protoregistry.GlobalTypes.RangeMessages(func(mt protoreflect.MessageType) bool {
		if mt.Descriptor().ParentFile().Package() != "steelyard.v1" {
			return true
		}
		fields, err := Of(mt)
		if err != nil {
			t.Error(err)
		}
		if len(fields) != mt.Descriptor().Fields().Len() {
			t.Errorf("%s has %d fields, %d are shown", mt.Descriptor().Name(), mt.Descriptor().Fields().Len(), len(fields))
		}
		for _, f := range fields {
			m := mt.New()
			set(m, f.FieldDescriptor)
			v := reflect.ValueOf(m.Interface()).Elem()
			for _, g := range fields {
				got := g.Value(v)
				isSet := got.IsValid() && !got.IsZero()
				if isSet != (f.Number() == g.Number()) {
					t.Errorf("with %s set, %s is set: %v", f.FullName(), g.Name(), isSet)
				}
			}
			tried++
		}
		return true
	})
	if tried < 300 {
		t.Errorf("only %d fields", tried)
	}
}

func set(m protoreflect.Message, f protoreflect.FieldDescriptor) {
	one := func(zero protoreflect.Value) protoreflect.Value {
		switch f.Kind() {
		case protoreflect.DoubleKind:
			return protoreflect.ValueOfFloat64(1.5)
		case protoreflect.Int32Kind:
			return protoreflect.ValueOfInt32(7)
		case protoreflect.EnumKind:
			return protoreflect.ValueOfEnum(1)
		case protoreflect.StringKind:
			return protoreflect.ValueOfString("text")
		case protoreflect.BoolKind:
			return protoreflect.ValueOfBool(true)
		case protoreflect.MessageKind:
			return zero
		}
		panic("no value for " + f.Kind().String())
	}
	if f.IsList() {
		l := m.Mutable(f).List()
		l.Append(one(l.NewElement()))
		return
	}
	m.Set(f, one(m.NewField(f)))
}

func TestOf_RefusesWhatIsNotGenerated(t *testing.T) {
	if _, err := Of(dynamicpb.NewMessageType((&pb.Entry{}).ProtoReflect().Descriptor())); err == nil {
		t.Error("a message made at run time is shown")
	}
}

func TestPlacesIn_PassesOverWhatIsHidden(t *testing.T) {
	of := reflect.TypeFor[struct {
		state  int
		hidden *float64 `protobuf:"fixed64,1,opt,name=weight_kg,json=weightKg"`
		Shown  *float64 `protobuf:"fixed64,2,opt,name=height_cm,json=heightCm"`
	}]()
	if got := placesIn(of); len(got) != 1 || got["height_cm"] != 2 {
		t.Errorf("shows %v", got)
	}
}

func TestValue_OfAnEmptyOneof(t *testing.T) {
	fields, err := Of((&pb.Entry{}).ProtoReflect().Type())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []*pb.Entry{{}, {Fact: (*pb.Entry_Tape)(nil)}} {
		for _, f := range fields {
			if f.InOneof() && f.Value(reflect.ValueOf(e).Elem()).IsValid() {
				t.Errorf("%s is set", f.Name())
			}
		}
	}
}
