package service_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"example.com/steelyard/service"
)

// unserved are services of the contract that no listener has yet.
var unserved = []string{"steelyard.v1.AdminService"}

// openToAll are services of others that hold no data.
var openToAll = []string{"grpc.health.v1.Health", "grpc.reflection.v1.ServerReflection", "grpc.reflection.v1alpha.ServerReflection"}

// contract are the methods of all services of the contract, as the registry of
// descriptors has them: a new one cannot be forgotten.
func contract() []protoreflect.MethodDescriptor {
	var out []protoreflect.MethodDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("steelyard.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			for j := range file.Services().Get(i).Methods().Len() {
				out = append(out, file.Services().Get(i).Methods().Get(j))
			}
		}
		return true
	})
	slices.SortFunc(out, func(a, b protoreflect.MethodDescriptor) int { return strings.Compare(fullName(a), fullName(b)) })
	return out
}

// served are the methods that a listener answers.
func served() []protoreflect.MethodDescriptor {
	return slices.DeleteFunc(contract(), func(m protoreflect.MethodDescriptor) bool {
		return slices.Contains(unserved, string(m.Parent().FullName()))
	})
}

// What is registered is what the contract has, and what is known to be open.
func TestEveryServiceIsKnown(t *testing.T) {
	r := startWith(t, func(c *service.Config) { c.Reflection = true })
	registered := r.app.GRPC().GetServiceInfo()
	want := map[string]bool{}
	for _, m := range contract() {
		want[string(m.Parent().FullName())] = true
	}
	for name := range registered {
		if want[name] == slices.Contains(openToAll, name) {
			t.Errorf("%s is registered and neither in the contract nor known", name)
		}
	}
	for name := range want {
		if _, ok := registered[name]; ok == slices.Contains(unserved, name) {
			t.Errorf("%s: registered %t", name, ok)
		}
	}
	for _, m := range contract() {
		if valid[fullName(m)] == nil {
			t.Errorf("%s has no valid request", m.FullName())
		}
		if requiredScope(m) == "unspecified" {
			t.Errorf("%s declares no scope", m.FullName())
		}
		for _, by := range ways(m) {
			if by.rule != nil && by.rule.GetPattern() == nil {
				t.Errorf("%s has no HTTP binding", m.FullName())
			}
		}
	}
}

// TestCredentialMatrix: each method, by each way in, with each credential that must
// not open it and with each id of another tenant, each alone. What exists for
// somebody else answers byte for byte as what does not exist, nothing is written, and
// nothing of the other tenant is in any byte of an answer, the log, the metrics or
// the traces. The right credential succeeds, or the row would prove nothing.
func TestCredentialMatrix(t *testing.T) {
	traces := collectTraces(t)
	w := newWorld(t, func(*service.Config) {})
	all := badCredentials(t, w)
	theirs := "Bearer " + w.theirs.token
	var refused, placed, succeeded, n int
	var told bytes.Buffer // to the other tenant
	for _, m := range served() {
		name := fullName(m)
		request, ok := valid[name]
		if !ok {
			t.Errorf("%s has no valid request to start from", name)
			continue
		}
		right := "Bearer " + w.key("tenant-a", requiredScope(m))
		for _, by := range ways(m) {
			n++
			t.Run(string(m.Name())+" "+by.name, func(t *testing.T) {
				ours, foreign := request(t, w.mine, n), request(t, w.theirs, n)
				control := func() {
					if got := w.call(t, by, right, m, ours); got.code != codes.OK || len(got.answers) == 0 {
						t.Errorf("with the right key: %q", got.text)
					}
					succeeded++
				}
				if makesTrainee(m) {
					control() // so that there is one to be found
				}
				before, ofMine := w.rows(t, ""), w.rows(t, "tenant-a")
				for _, c := range all {
					if makesTrainee(m) && slices.Contains(c.want, codes.NotFound) {
						continue // with its own tenant's trainees it may do as it likes
					}
					got := w.call(t, by, c.header(requiredScope(m)), m, ours)
					refused++
					told.WriteString(got.text)
					want := c.want
					if !namesThing(m, ours) {
						want = []codes.Code{c.ofAll}
					}
					if !slices.Contains(want, got.code) {
						t.Errorf("%s: %v, want %v\n%q", c.name, got.code, want, got.text)
					}
					if got.code != codes.OK && w.rows(t, "") != before {
						t.Errorf("%s: something was written", c.name)
					}
				}
				for _, field := range idFields(m) {
					named := textAt(ours[0], field)
					nobody := nobodys(named)
					if nobody == named {
						continue // each tenant has one of that name
					}
					a := w.call(t, by, theirs, m, withText(foreign, field, named))
					b := w.call(t, by, theirs, m, withText(foreign, field, nobody))
					placed++
					if made := makesTrainee(m); made == (a.code == codes.NotFound) || made == (a.code != codes.OK) {
						t.Errorf("%v of another tenant: %s", field, a.text)
					}
					if x, y := comparableText(t, m, a), comparableText(t, m, b); x != y {
						t.Errorf("%v of another tenant\n%q\nof nobody\n%q", field, x, y)
					}
					if !makesTrainee(m) {
						told.WriteString(a.text + b.text)
					}
				}
				if w.rows(t, "tenant-a") != ofMine {
					t.Error("the other tenant has changed rows")
				}
				if !makesTrainee(m) {
					control()
				}
			})
		}
	}
	w.theirs.listEverything(t, &told)
	scan(t, "an answer to another", told.String())
	scan(t, "the log", w.log.String())
	scan(t, "the metrics", string(w.admin("GET", "/metrics").body))
	traces.check = func(spans string) { scan(t, "the traces", spans) }
	t.Logf("%d methods, %d ways in: %d calls with %d bad credentials refused, %d foreign ids placed, %d calls with the right one succeeded",
		len(served()), n, refused, len(all), placed, succeeded)
}

// listEverything reads all that the caller's tenant has.
func (c caller) listEverything(t *testing.T, told *bytes.Buffer) {
	t.Helper()
	for _, m := range served() {
		if traineeField(m) == nil {
			for _, by := range ways(m) {
				told.WriteString(c.call(t, by, "Bearer "+c.token, m, valid[fullName(m)](t, c, 0)).text)
			}
		}
	}
}

// comparableText is an answer without what differs from one call to the next: an error
// as it is, a success without instants, revisions and the id that was asked for.
func comparableText(t *testing.T, m protoreflect.MethodDescriptor, h heard) string {
	t.Helper()
	if h.code != codes.OK {
		return h.text
	}
	var out strings.Builder
	for _, b := range h.answers {
		answer := dynamicpb.NewMessage(m.Output())
		err := proto.Unmarshal(b, answer)
		if h.status != 0 {
			err = protojson.Unmarshal(b, answer)
		}
		if err != nil {
			t.Fatal(err)
		}
		out.WriteString(prototextOf(settled(answer)))
	}
	id := strings.NewReplacer(hexOf(traineeOfMine), "", hexOf(traineeOfNobody), "")
	return id.Replace(out.String())
}
