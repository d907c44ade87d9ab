package access

import (
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// ScopeNames lists the scopes as keys store them: "log.write", ... in the
// contract's order.
func ScopeNames() []string {
	values := steelyardv1.Scope(0).Descriptor().Values()
	names := make([]string, 0, values.Len()-1)
	for i := 1; i < values.Len(); i++ {
		names = append(names, ScopeName(steelyardv1.Scope(values.Get(i).Number())))
	}
	return names
}

// ParseScope reads a scope name.
func ParseScope(name string) (steelyardv1.Scope, bool) {
	n, ok := steelyardv1.Scope_value["SCOPE_"+strings.ToUpper(strings.ReplaceAll(name, ".", "_"))]
	return steelyardv1.Scope(n), ok && n != 0 && name == ScopeName(steelyardv1.Scope(n))
}

// ScopeName is the name that keys store of a scope.
func ScopeName(s steelyardv1.Scope) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(s.String(), "SCOPE_")), "_", ".")
}

// Required returns the scope that a method of the contract declares, and false
// when it declares none: such a method is denied to everybody. The name is
// gRPC's "/package.Service/Method".
func Required(fullMethod string) (string, bool) {
	name := strings.ReplaceAll(strings.TrimPrefix(fullMethod, "/"), "/", ".")
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
	if err != nil {
		return "", false
	}
	m, ok := d.(protoreflect.MethodDescriptor)
	if !ok {
		return "", false
	}
	s, _ := proto.GetExtension(m.Options(), steelyardv1.E_RequiredScope).(steelyardv1.Scope)
	return ScopeName(s), s != steelyardv1.Scope_SCOPE_UNSPECIFIED
}
