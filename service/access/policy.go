package access

import (
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Policy is what a method of the contract declares of who may call it.
type Policy struct {
	Scope   string                         // that the credential must hold
	trainee []protoreflect.FieldDescriptor // the way to the field that names the trainee; nil: there is none
	bare    bool                           // that field holds an id, not a resource name
}

// policies has every method that declares a scope, by gRPC's
// "/package.Service/Method". It is made once, for the look-ups in descriptors
// would otherwise be on the way of each call.
var policies = sync.OnceValue(func() map[string]Policy {
	out := map[string]Policy{}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				if p, ok := declared(m); ok {
					out["/"+string(s.FullName())+"/"+string(m.Name())] = p
				}
			}
		}
		return true
	})
	return out
})

func declared(m protoreflect.MethodDescriptor) (Policy, bool) {
	scope, _ := proto.GetExtension(m.Options(), steelyardv1.E_RequiredScope).(steelyardv1.Scope)
	if scope == steelyardv1.Scope_SCOPE_UNSPECIFIED {
		return Policy{}, false
	}
	p := Policy{Scope: ScopeName(scope)}
	path, _ := proto.GetExtension(m.Options(), steelyardv1.E_TraineeField).(string)
	p.trainee = fieldPath(m.Input(), path)
	p.bare = strings.HasSuffix(path, "_id")
	return p, true
}

// fieldPath follows a dotted path to a string; nil when it leads to none.
func fieldPath(m protoreflect.MessageDescriptor, path string) []protoreflect.FieldDescriptor {
	var out []protoreflect.FieldDescriptor
	for name := range strings.SplitSeq(path, ".") {
		if m == nil {
			return nil
		}
		f := m.Fields().ByName(protoreflect.Name(name))
		if f == nil || f.Cardinality() == protoreflect.Repeated {
			return nil
		}
		out = append(out, f)
		m = f.Message()
	}
	if out[len(out)-1].Kind() != protoreflect.StringKind {
		return nil
	}
	return out
}

// PolicyOf returns what a method declares, and false when it declares no scope:
// such a method is denied to everybody.
func PolicyOf(fullMethod string) (Policy, bool) {
	p, ok := policies()[fullMethod]
	return p, ok
}

// AboutOne reports whether each call of the method is about one trainee.
func (p Policy) AboutOne() bool { return p.trainee != nil }

// Trainee returns the id of the trainee that a request is about, as it came:
// nothing of it has been validated. Empty when the request names none, or not
// in the form of a resource name; named tells whether it says anything at all
// there.
func (p Policy) Trainee(req proto.Message) (id string, named bool) {
	if p.trainee == nil {
		return "", false
	}
	m := req.ProtoReflect()
	if m.Descriptor() != p.trainee[0].ContainingMessage() { // another method's
		return "", false
	}
	for _, f := range p.trainee[:len(p.trainee)-1] {
		if !m.Has(f) {
			return "", false
		}
		m = m.Get(f).Message()
	}
	name := m.Get(p.trainee[len(p.trainee)-1]).String()
	if p.bare || name == "" {
		return name, name != ""
	}
	rest, ok := strings.CutPrefix(name, "trainees/")
	if !ok {
		return "", true
	}
	id, _, _ = strings.Cut(rest, "/")
	return id, true
}
