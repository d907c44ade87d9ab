package service_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"example.com/steelyard/service"
)

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

// What a listener registers is what the contract has for it, and what is known to be open.
func TestEveryServiceIsKnown(t *testing.T) {
	r := startWith(t, func(c *service.Config) { c.Reflection = true })
	for listener, registered := range map[string]map[string]grpc.ServiceInfo{"public": r.app.GRPC().GetServiceInfo(), "admin": r.app.AdminGRPC().GetServiceInfo()} {
		want := map[string]bool{}
		for _, m := range contract() {
			if isAdmin(m) == (listener == "admin") {
				want[string(m.Parent().FullName())] = true
			}
		}
		for name := range registered {
			if want[name] == slices.Contains(openToAll, name) {
				t.Errorf("%s is on the %s listener, and neither the contract's for it nor known", name, listener)
			}
		}
		for name := range want {
			if _, ok := registered[name]; !ok {
				t.Errorf("%s is not on the %s listener", name, listener)
			}
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
// the traces. The right credentials succeed, or the row would prove nothing.
func TestCredentialMatrix(t *testing.T) {
	traces := collectTraces(t)
	idp := newProvider(t)
	x := &matrix{world: newWorld(t, idp.configure), idp: idp, sent: map[string]bool{}}
	x.bad = append(badKeys(t, x.world), badTokens(t, idp)...)
	ins := 0
	for _, m := range contract() {
		request, ok := valid[fullName(m)]
		if !ok {
			t.Errorf("%s has no valid request to start from", m.FullName())
			continue
		}
		for _, by := range ways(m) {
			ins++
			t.Run(string(m.Name())+" "+by.name, func(t *testing.T) {
				x.n++
				ours, foreign := request(t, x.mine, x.n), request(t, x.theirs, x.n)
				if makesTrainee(m) {
					x.succeeds(t, m, by, ours) // so that there is one to be found
				}
				right := "Bearer " + x.key("tenant-a", requiredScope(m))
				mine := x.rows(t, "tenant-a")
				x.refuses(t, m, by, right, ours)
				x.hides(t, m, by, ours, foreign)
				if x.rows(t, "tenant-a") != mine {
					t.Error("the other tenant has changed rows")
				}
				if !makesTrainee(m) {
					x.succeeds(t, m, by, ours)
				}
			})
		}
	}
	x.listTheirs(t)
	scan(t, "an answer to another", x.told.String())
	x.discreet(t)
	traces.check = func(spans string) {
		scan(t, "the traces", spans)
		x.unsaid(t, "the traces", spans)
	}
	x.unsaid(t, "the log", x.log.String())
	t.Logf("%d methods x %d bad credentials, %d ways in: %d calls refused, %d on the wrong listener, %d foreign ids hidden, %d calls with right credentials succeeded",
		len(contract()), len(x.bad), ins, x.refused, x.crossings, x.hidden, x.succeeded)
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
