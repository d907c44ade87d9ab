package access

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// contract are all methods of all services of the contract.
func contract(t *testing.T) map[string]protoreflect.MethodDescriptor {
	t.Helper()
	out := map[string]protoreflect.MethodDescriptor{}
	protoregistry.GlobalFiles.RangeFilesByPackage("steelyard.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				out["/"+string(s.FullName())+"/"+string(m.Name())] = m
			}
		}
		return true
	})
	if len(out) < 30 { // as many as there were when this was written; none may get lost here
		t.Fatalf("found %d methods", len(out))
	}
	return out
}

// tenantWide are the methods that are about no trainee in particular. Whatever is
// added here is out of reach of a credential that is bound to one.
var tenantWide = map[string]bool{pb.PhaseService_ListDueReviews_FullMethodName: true}

// TestPolicyOf_TraineeOfEveryMethod: each method says which field of its request
// names the trainee, and there is such a field; of a request that is filled as far
// as the contract's own names go, the trainee is found.
func TestPolicyOf_TraineeOfEveryMethod(t *testing.T) {
	for name, m := range contract(t) {
		policy, ok := PolicyOf(name)
		if !ok {
			t.Errorf("%s declares no scope", name)
		}
		if path, _ := proto.GetExtension(m.Options(), pb.E_TraineeField).(string); (path != "") != policy.AboutOne() {
			t.Errorf("%s: trainee_field %q leads to no string of %s", name, path, m.Input().FullName())
		}
		if wide := tenantWide[name] || strings.HasPrefix(name, "/steelyard.v1.AdminService/"); wide == policy.AboutOne() {
			t.Errorf("%s: tenant-wide %v, about one trainee %v", name, wide, policy.AboutOne())
		}
		empty := dynamicpb.NewMessage(m.Input())
		if id, named := policy.Trainee(empty); id != "" || named {
			t.Errorf("%s: an empty request is about %q, %v", name, id, named)
		}
		if !policy.AboutOne() {
			continue
		}
		req := dynamicpb.NewMessage(m.Input())
		fill(req, "t-cedar", 2)
		if id, named := policy.Trainee(req); id != "t-cedar" || !named {
			t.Errorf("%s is about %q, %v: %v", name, id, named, req)
		}
	}
	if len(policies()) < len(contract(t)) {
		t.Errorf("%d policies", len(policies()))
	}
}

// fill sets each field that names a trainee, in messages within messages too.
func fill(m protoreflect.Message, trainee string, deep int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.IsList() || f.IsMap():
		case f.Name() == "trainee_id":
			m.Set(f, protoreflect.ValueOfString(trainee))
		case f.Kind() == protoreflect.StringKind && (f.Name() == "name" || f.Name() == "parent"):
			m.Set(f, protoreflect.ValueOfString("trainees/"+trainee+"/plans/p1"))
		case f.Message() != nil && deep > 1 && (f.ContainingOneof() == nil || f.ContainingOneof().Fields().Get(0) == f):
			fill(m.Mutable(f).Message(), trainee, deep-1)
		}
	}
}

func TestPolicy_OddNames(t *testing.T) {
	get, _ := PolicyOf(pb.TraineeService_GetTrainee_FullMethodName)
	for name, want := range map[string]string{
		"": "", "trainees/": "", "trainees": "", "t1": "", "plans/p1": "", "Trainees/t1": "", "/trainees/t1": "",
		"trainees/t1": "t1", "trainees/t1/": "t1", "trainees//plans/p1": "", "trainees/t1\x00": "t1\x00", " trainees/t1": "",
	} {
		if id, named := get.Trainee(&pb.GetTraineeRequest{Name: name}); id != want || named != (name != "") {
			t.Errorf("%q is about %q, %v, want %q", name, id, named, want)
		}
	}
	create, _ := PolicyOf(pb.TraineeService_CreateTrainee_FullMethodName)
	for id, want := range map[string]string{"": "", "t1": "t1", "trainees/t1": "trainees/t1", "t1/plans": "t1/plans"} {
		if got, named := create.Trainee(&pb.CreateTraineeRequest{TraineeId: id}); got != want || named != (id != "") {
			t.Errorf("the id %q is about %q, %v, want %q", id, got, named, want)
		}
	}
}

// TestDeclared_BrokenPathIsNone: a trainee_field that leads to no string leaves
// the method out of reach of bound credentials, rather than open to all.
func TestDeclared_BrokenPathIsNone(t *testing.T) {
	for path, about := range map[string]bool{
		"trainee.name": true, "request_id": true,
		"": false, "names": false, "trainee": false, "trainee.nope": false, "request_id.x": false, ".request_id": false, "trainee.height_cm": false,
		"update_mask.paths": false, // several
	} {
		options := &descriptorpb.MethodOptions{}
		proto.SetExtension(options, pb.E_RequiredScope, pb.Scope_SCOPE_LOG_READ)
		proto.SetExtension(options, pb.E_TraineeField, path)
		file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
			Name: proto.String("x.proto"), Package: proto.String("x"), Syntax: proto.String("proto3"),
			Dependency: []string{pb.File_steelyard_v1_trainee_service_proto.Path()},
			Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("S"), Method: []*descriptorpb.MethodDescriptorProto{{
				Name: proto.String("M"), InputType: proto.String(".steelyard.v1.UpdateTraineeRequest"), OutputType: proto.String(".steelyard.v1.UpdateTraineeRequest"),
				Options: options,
			}}}},
		}, protoregistry.GlobalFiles)
		if err != nil {
			t.Fatal(err)
		}
		policy, ok := declared(file.Services().Get(0).Methods().Get(0))
		if !ok || policy.AboutOne() != about {
			t.Errorf("%q: %v, about one %v, want %v", path, ok, policy.AboutOne(), about)
		}
	}
}

// TestPolicies_NoneButTheContracts: what else is linked in declares nothing.
func TestPolicies_NoneButTheContracts(t *testing.T) {
	for name := range maps.Keys(policies()) {
		if !slices.Contains(slices.Collect(maps.Keys(contract(t))), name) {
			t.Errorf("%s has a policy", name)
		}
	}
}
