package service_test

import (
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/rpc/code"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// httpRequest is a request as the contract's HTTP binding spells it.
type httpRequest struct{ verb, path, body string }

var pathVariable = regexp.MustCompile(`\{([a-z_.]+)=[^}]*\}`)

// transcode spells a message after its method's HTTP binding, independently of
// the gateway.
func transcode(t testing.TB, m protoreflect.MethodDescriptor, req proto.Message) httpRequest {
	t.Helper()
	return spell(t, proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule), req)
}

// spell is transcode after one binding.
func spell(t testing.TB, rule *annotations.HttpRule, req proto.Message) httpRequest {
	t.Helper()
	var out httpRequest
	var pattern string
	switch p := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		out.verb, pattern = "GET", p.Get
	case *annotations.HttpRule_Post:
		out.verb, pattern = "POST", p.Post
	case *annotations.HttpRule_Patch:
		out.verb, pattern = "PATCH", p.Patch
	case *annotations.HttpRule_Delete:
		out.verb, pattern = "DELETE", p.Delete
	default:
		t.Fatalf("a verb that this test does not know: %v", rule)
	}
	rest := proto.Clone(req).ProtoReflect()
	out.path = pathVariable.ReplaceAllStringFunc(pattern, func(v string) string {
		return takeString(rest, strings.Split(pathVariable.FindStringSubmatch(v)[1], "."))
	})
	switch rule.GetBody() {
	case "":
	case "*":
		out.body = marshal(t, rest.Interface())
		return out
	default:
		f := rest.Descriptor().Fields().ByName(protoreflect.Name(rule.GetBody()))
		out.body = "{}"
		if rest.Has(f) {
			out.body = marshal(t, rest.Get(f).Message().Interface())
		}
		rest.Clear(f)
	}
	if q := query(rest, ""); len(q) > 0 {
		out.path += "?" + q.Encode()
	}
	return out
}

// takeString reads and clears a string field that may lie in another message.
func takeString(m protoreflect.Message, path []string) string {
	f := m.Descriptor().Fields().ByName(protoreflect.Name(path[0]))
	if len(path) > 1 {
		return takeString(m.Mutable(f).Message(), path[1:])
	}
	v := m.Get(f).String()
	m.Clear(f)
	return v
}

func query(m protoreflect.Message, prefix string) url.Values {
	q := url.Values{}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		name := prefix + f.JSONName()
		switch {
		case f.IsList():
			for i := range v.List().Len() {
				q.Add(name, scalar(f, v.List().Get(i)))
			}
		case f.Message() == nil:
			q.Set(name, scalar(f, v))
		default:
			switch msg := v.Message().Interface().(type) {
			case *date.Date:
				q.Set(name, fmt.Sprintf("%04d-%02d-%02d", msg.GetYear(), msg.GetMonth(), msg.GetDay()))
			case *fieldmaskpb.FieldMask:
				q.Set(name, strings.Join(msg.GetPaths(), ","))
			}
		}
		return true
	})
	return q
}

func scalar(f protoreflect.FieldDescriptor, v protoreflect.Value) string {
	if f.Enum() != nil {
		if d := f.Enum().Values().ByNumber(v.Enum()); d != nil {
			return string(d.Name())
		}
	}
	return v.String()
}

func marshal(t testing.TB, m proto.Message) string {
	t.Helper()
	b, err := protojson.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// settled clears what differs from one run to the next: revisions, instants,
// and whether a window came from the store or a snapshot.
func settled(m proto.Message) proto.Message {
	m = proto.Clone(m)
	settle(m.ProtoReflect())
	return m
}

// unsettled are the fields that differ between two services which are told the same.
var unsettled = map[protoreflect.Name]bool{
	"revision": true, "source": true, "receipt": true, "token": true,
	"id": true, "actor": true, // of audit records
}

func settle(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case unsettled[f.Name()] || strings.HasSuffix(string(f.Name()), "_time"):
			m.Clear(f)
		case f.Kind() == protoreflect.StringKind && !f.IsList() && strings.HasPrefix(v.String(), "apiKeys/"):
			m.Set(f, protoreflect.ValueOfString("apiKeys/one")) // the test's own key has another id in each service
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				settle(v.List().Get(i).Message())
			}
			if f.Name() == "api_keys" { // those of one second are in the order of their ids
				sortByText(v.List())
			}
		case f.Message() != nil && !f.IsMap():
			settle(v.Message())
		}
		return true
	})
}

func sortByText(l protoreflect.List) {
	var all []protoreflect.Value
	for i := range l.Len() {
		all = append(all, l.Get(i))
	}
	text := func(v protoreflect.Value) string {
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(v.Message().Interface())
		if err != nil {
			panic(err)
		}
		return string(b)
	}
	slices.SortFunc(all, func(a, b protoreflect.Value) int { return strings.Compare(text(a), text(b)) })
	for i, v := range all {
		l.Set(i, v)
	}
}

// services are the services of the contract.
func services() []protoreflect.ServiceDescriptor {
	var out []protoreflect.ServiceDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		pb.File_steelyard_v1_logbook_service_proto, pb.File_steelyard_v1_trend_service_proto,
		pb.File_steelyard_v1_phase_service_proto, pb.File_steelyard_v1_trainee_service_proto,
		pb.File_steelyard_v1_admin_service_proto,
	} {
		for i := range file.Services().Len() {
			out = append(out, file.Services().Get(i))
		}
	}
	return out
}

// methods are the methods of the contract by gRPC's full name.
func methods() map[string]protoreflect.MethodDescriptor {
	out := map[string]protoreflect.MethodDescriptor{}
	for _, s := range services() {
		for i := range s.Methods().Len() {
			m := s.Methods().Get(i)
			out[fmt.Sprintf("/%s/%s", s.FullName(), m.Name())] = m
		}
	}
	return out
}

// decodeProblem reads the google.rpc.Status out of a problem body.
func decodeProblem(t testing.TB, body []byte) *rpcstatus.Status {
	t.Helper()
	var p struct {
		Code    string
		Detail  string
		Details json.RawMessage
	}
	if err := json.Unmarshal(body, &p); err != nil {
		t.Fatalf("not a problem body: %v\n%s", err, body)
	}
	text, err := json.Marshal(map[string]any{"code": code.Code_value[p.Code], "message": p.Detail, "details": p.Details})
	if err != nil {
		t.Fatal(err)
	}
	out := &rpcstatus.Status{}
	if err := protojson.Unmarshal(text, out); err != nil {
		t.Fatalf("not a google.rpc.Status: %v\n%s", err, body)
	}
	return out
}
