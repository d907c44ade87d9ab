package service_test

import (
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
)

// traineeField is the field that says which trainee a method is about; nil for a
// method about the whole tenant.
func traineeField(m protoreflect.MethodDescriptor) []string {
	name, _ := proto.GetExtension(m.Options(), pb.E_TraineeField).(string)
	if name == "" {
		return nil
	}
	return strings.Split(name, ".")
}

// makesTrainee reports whether a method gives the id to what it makes.
func makesTrainee(m protoreflect.MethodDescriptor) bool {
	f := traineeField(m)
	return len(f) == 1 && f[0] == "trainee_id"
}

func requiredScope(m protoreflect.MethodDescriptor) string {
	scope, _ := proto.GetExtension(m.Options(), pb.E_RequiredScope).(pb.Scope)
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(scope.String(), "SCOPE_")), "_", ".")
}

// idFields are the fields of a request, nested ones too, that the contract marks as
// naming a thing, and the one that names the trainee.
func idFields(m protoreflect.MethodDescriptor) [][]string {
	var out [][]string
	trainee := strings.Join(traineeField(m), ".")
	var walk func(protoreflect.MessageDescriptor, []string)
	walk = func(d protoreflect.MessageDescriptor, path []string) {
		for i := range d.Fields().Len() {
			f := d.Fields().Get(i)
			here := append(append([]string(nil), path...), string(f.Name()))
			switch {
			case isOutput(f):
			case f.Message() != nil:
				if len(path) < 5 && f.Message().ParentFile().Package() == "steelyard.v1" {
					walk(f.Message(), here)
				}
			case proto.HasExtension(f.Options(), annotations.E_ResourceReference) || strings.Join(here, ".") == trainee:
				out = append(out, here)
			}
		}
	}
	walk(m.Input(), nil)
	return out
}

// namesThing reports whether a request names a thing of one tenant.
func namesThing(m protoreflect.MethodDescriptor, requests []proto.Message) bool {
	return slices.ContainsFunc(idFields(m), func(f []string) bool {
		name := textAt(requests[0], f)
		return nobodys(name) != name
	})
}

// textAt reads a text field.
func textAt(m proto.Message, path []string) string {
	at := m.ProtoReflect()
	for _, name := range path[:len(path)-1] {
		at = at.Get(at.Descriptor().Fields().ByName(protoreflect.Name(name))).Message()
	}
	return at.Get(at.Descriptor().Fields().ByName(protoreflect.Name(path[len(path)-1]))).String()
}

// withText is a copy with another text in one field of the first request.
func withText(requests []proto.Message, path []string, text string) []proto.Message {
	out := append([]proto.Message{proto.Clone(requests[0])}, requests[1:]...)
	at := out[0].ProtoReflect()
	for _, name := range path[:len(path)-1] {
		at = at.Mutable(at.Descriptor().Fields().ByName(protoreflect.Name(name))).Message()
	}
	at.Set(at.Descriptor().Fields().ByName(protoreflect.Name(path[len(path)-1])), protoreflect.ValueOfString(text))
	return out
}
