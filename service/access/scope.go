package access

import (
	"strings"

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
