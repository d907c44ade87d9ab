package chain

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// longestID bounds what is kept of a name that has not been validated yet.
const longestID = 128

// traineeOf returns the id of the trainee that a request is about: from its
// parent, its name or its trainee_id, or from those of the message in it (an
// opening, a resource to change). Empty when it is about none, or when the name
// has no ordinary shape; that is refused later.
func traineeOf(m protoreflect.Message) string {
	if id := traineeNamed(m); id != "" {
		return id
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.Message() == nil || f.IsList() || f.IsMap() || !m.Has(f) {
			continue
		}
		if id := traineeNamed(m.Get(f).Message()); id != "" {
			return id
		}
	}
	return ""
}

func traineeNamed(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	for _, name := range []protoreflect.Name{"parent", "name", "trainee_id"} {
		f := fields.ByName(name)
		if f == nil || f.Kind() != protoreflect.StringKind || f.IsList() {
			continue
		}
		id := m.Get(f).String()
		if name != "trainee_id" {
			rest, ok := strings.CutPrefix(id, "trainees/")
			if !ok {
				continue
			}
			id, _, _ = strings.Cut(rest, "/")
		}
		if id != "" && len(id) <= longestID {
			return id
		}
	}
	return ""
}
