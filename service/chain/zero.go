package chain

import (
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// unsigned makes each -0 of a request 0. To every rule and computation the two are
// one, but they are written differently, and a store, JSON and gRPC need not agree on
// which comes back. Answers are left alone, for some are shared between calls: what
// computes them says 0 - x where -x could be -0.
func unsigned(m any) {
	if msg, ok := m.(proto.Message); ok {
		unsignZeros(msg.ProtoReflect())
	}
}

func unsignZeros(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				unsignZeros(v.List().Get(i).Message())
			}
		case f.IsList():
		case f.Message() != nil:
			unsignZeros(v.Message())
		case f.Kind() == protoreflect.DoubleKind && v.Float() == 0 && math.Signbit(v.Float()):
			m.Set(f, protoreflect.ValueOfFloat64(0))
		}
		return true
	})
}
