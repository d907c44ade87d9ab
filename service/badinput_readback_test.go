package service_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// unwrapped is what a line of a stream wraps.
func unwrapped(t testing.TB, line []byte) []byte {
	t.Helper()
	var w struct{ Result, Error json.RawMessage }
	if err := json.Unmarshal(line, &w); err != nil {
		t.Fatalf("%v\n%q", err, line)
	}
	return append(w.Result, w.Error...)
}

// spellAll is spell of all requests of a stream; false when JSON has no spelling for one.
func spellAll(t testing.TB, rule *annotations.HttpRule, requests []proto.Message) (httpRequest, bool) {
	t.Helper()
	for _, r := range requests {
		r = proto.Clone(r)
		if mask := r.ProtoReflect().Descriptor().Fields().ByName("update_mask"); mask != nil {
			r.ProtoReflect().Clear(mask) // stands in the query
		}
		if _, err := protojson.Marshal(r); err != nil {
			return httpRequest{}, false
		}
	}
	req := spell(t, rule, requests[0])
	for _, more := range requests[1:] {
		req.body += "\n" + marshal(t, more)
	}
	return req, true
}

// typed is a message of a generated type, out of a dynamic one.
func typed[M proto.Message](t testing.TB, m proto.Message, into M) M {
	t.Helper()
	b, err := proto.Marshal(m)
	if err == nil {
		err = proto.Unmarshal(b, into)
	}
	if err != nil {
		t.Fatal(err)
	}
	return into
}

// resources are the things in a message that can be read back.
func resources(m protoreflect.Message) []protoreflect.Message {
	var out []protoreflect.Message
	if slices.Contains([]protoreflect.Name{"Trainee", "Plan", "Decision", "Entry"}, m.Descriptor().Name()) {
		return append(out, m)
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				out = append(out, resources(v.List().Get(i).Message())...)
			}
		default:
			out = append(out, resources(v.Message())...)
		}
		return true
	})
	return out
}

// readsBack checks that what was accepted is what is answered, and that it is what
// is stored.
func (w *world) readsBack(t testing.TB, what string, m protoreflect.MethodDescriptor, sent []proto.Message, got heard) {
	t.Helper()
	name := string(m.Name())
	if !strings.HasPrefix(name, "Create") && !strings.HasPrefix(name, "Update") && name != "BatchCreateEntries" {
		return
	}
	asked, answered := resources(sent[0].ProtoReflect()), resources(messagesOf(t, m, got)[0].ProtoReflect())
	if got.status != 0 && len(asked) == 0 {
		return // JSON spells what is absent as what is empty
	}
	if len(asked) != len(answered) {
		t.Errorf("%s: sent %d, answered %d", what, len(asked), len(answered))
		return
	}
	mask := maskOf(sent[0])
	for i := range asked {
		if field := differs(asked[i], answered[i], mask); field != "" {
			t.Errorf("%s: %s reads back otherwise\nsent     %v\nanswered %v", what, field, asked[i].Interface(), answered[i].Interface())
		}
		stored := w.stored(t, answered[i])
		if !proto.Equal(settled(stored), settled(answered[i].Interface())) {
			t.Errorf("%s: stored otherwise\nanswered %v\nstored   %v", what, answered[i].Interface(), stored)
		}
	}
}

func maskOf(req proto.Message) *fieldmaskpb.FieldMask {
	if u, ok := req.(interface{ GetUpdateMask() *fieldmaskpb.FieldMask }); ok {
		return u.GetUpdateMask()
	}
	return nil
}

// differs names the first field, of those that a caller sets, that reads back otherwise.
func differs(asked, answered protoreflect.Message, mask *fieldmaskpb.FieldMask) string {
	var out string
	asked.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		meant := len(mask.GetPaths()) == 0 || slices.Contains(mask.GetPaths(), string(f.Name())) || slices.Contains(mask.GetPaths(), "*")
		g := answered.Descriptor().Fields().ByName(f.Name())
		if isOutput(f) || f.Name() == "name" || !meant || out != "" {
			return true
		}
		got := answered.Get(g)
		switch {
		case f.IsList():
			if v.List().Len() != got.List().Len() {
				out = string(f.Name())
			}
		case f.Message() != nil:
			if inner := differs(v.Message(), got.Message(), nil); inner != "" {
				out = string(f.Name()) + "." + inner
			}
		case f.Kind() == protoreflect.DoubleKind:
			if v.Float() != got.Float() {
				out = string(f.Name())
			}
		case !v.Equal(got):
			out = string(f.Name())
		}
		return true
	})
	return out
}

// stored reads a thing by its name.
func (w *world) stored(t testing.TB, m protoreflect.Message) proto.Message {
	t.Helper()
	name := m.Get(m.Descriptor().Fields().ByName("name")).String()
	parts := strings.Split(name, "/")
	switch m.Descriptor().Name() {
	case "Trainee":
		return w.mine.must(t, one(pb.TraineeService_GetTrainee_FullMethodName, &pb.GetTraineeRequest{Name: name}, ""))[0]
	case "Plan":
		return w.mine.must(t, one(pb.PhaseService_GetPlan_FullMethodName, &pb.GetPlanRequest{Name: name}, ""))[0]
	case "Decision":
		return w.listed(t, name, pb.PhaseService_ListDecisions_FullMethodName, &pb.ListDecisionsRequest{Parent: strings.Join(parts[:4], "/"), PageSize: 1000})
	}
	e := typed(t, m.Interface(), &pb.Entry{})
	return w.listed(t, name, pb.LogbookService_ListEntries_FullMethodName, &pb.ListEntriesRequest{
		Parent: strings.Join(parts[:2], "/"), PageSize: 1000, StartDate: e.GetDate(), EndDate: e.GetDate(),
	})
}

func (w *world) listed(t testing.TB, name, method string, req proto.Message) proto.Message {
	t.Helper()
	for _, thing := range resources(w.mine.must(t, one(method, req, ""))[0].ProtoReflect()) {
		if thing.Get(thing.Descriptor().Fields().ByName("name")).String() == name {
			return thing.Interface()
		}
	}
	t.Fatalf("%s is not there", name)
	return nil
}
