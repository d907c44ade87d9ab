package access

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
)

func TestScopeNames_ReadBack(t *testing.T) {
	names := ScopeNames()
	if want := "log.write log.read trend.read recommendation.read plan.write export erase admin"; strings.Join(names, " ") != want {
		t.Errorf("scopes %q, want %q: keys that exist hold these words", names, want)
	}
	for _, n := range names {
		if s, ok := ParseScope(n); !ok || scopeName(s) != n {
			t.Errorf("%q reads back as %v, %v", n, s, ok)
		}
	}
	for _, n := range []string{"", "unspecified", "log", "log_write", "LOG.WRITE", "Log.write", "log.write ", " log.write", "log..write", "SCOPE_LOG_WRITE", "log.write,log.read", "*"} {
		if s, ok := ParseScope(n); ok {
			t.Errorf("%q reads as %v", n, s)
		}
	}
}

// TestRequired_EveryMethod: each method of the contract declares a scope, and a
// method that is bound to GET asks for one that only reads.
func TestRequired_EveryMethod(t *testing.T) {
	tried := 0
	for _, file := range []protoreflect.FileDescriptor{
		pb.File_steelyard_v1_logbook_service_proto, pb.File_steelyard_v1_trend_service_proto,
		pb.File_steelyard_v1_phase_service_proto, pb.File_steelyard_v1_trainee_service_proto,
	} {
		for i := range file.Services().Len() {
			s := file.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				tried++
				scope, ok := Required("/" + string(s.FullName()) + "/" + string(m.Name()))
				if !ok || !slices.Contains(ScopeNames(), scope) {
					t.Errorf("%s declares %q, %v", m.FullName(), scope, ok)
					continue
				}
				rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				reads := strings.HasSuffix(scope, ".read") || scope == "export"
				if isGet := rule.GetGet() != ""; isGet != reads {
					t.Errorf("%s (GET: %v) asks for %s", m.FullName(), isGet, scope)
				}
			}
		}
	}
	if tried < 22 { // the contract had 22 methods when this was written; none may get lost here
		t.Errorf("found %d methods", tried)
	}
}

func TestRequired_NothingElse(t *testing.T) {
	for _, name := range []string{
		"", "/", "nonsense", "/steelyard.v1.LogbookService/Nope", "/steelyard.v1.LogbookService", "/steelyard.v1.LogbookService/",
		"/steelyard.v1.Entry/name", "/steelyard.v1.Entry", "/grpc.health.v1.Health/Check", "/steelyard.v1.logbookservice/CreateEntry",
	} {
		if scope, ok := Required(name); ok {
			t.Errorf("%q asks for %q", name, scope)
		}
	}
}
