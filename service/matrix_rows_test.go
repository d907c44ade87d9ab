package service_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.com/steelyard/service/store"
)

// matrix is a run of TestCredentialMatrix.
type matrix struct {
	*world
	idp  *provider
	bad  []credential
	told strings.Builder // to others than the mine tenant
	sent map[string]bool // credentials
	n    int             // tells requests apart

	refused, crossings, hidden, succeeded int
}

// try is call, and remembers the credential.
func (x *matrix) try(t *testing.T, by way, header string, m protoreflect.MethodDescriptor, requests []proto.Message) heard {
	t.Helper()
	x.sent[header] = true
	return x.call(t, by, header, m, requests)
}

// refuses makes the call with each bad credential, and with the right one where the
// method is not served.
func (x *matrix) refuses(t *testing.T, m protoreflect.MethodDescriptor, by way, right string, ours []proto.Message) {
	t.Helper()
	before := x.rows(t, "")
	for _, c := range x.bad {
		want, ok := c.wants(m, ours)
		if !ok {
			continue
		}
		header := c.header(requiredScope(m))
		got := x.try(t, by, header, m, ours)
		x.refused++
		x.told.WriteString(got.text)
		if got.code != want {
			t.Errorf("%s: %v, want %v\n%q", c.name, got.code, want, got.text)
		}
		if trainee := traineeField(m); c.bound && trainee != nil {
			nobody := withText(ours, trainee, nobodys(textAt(ours[0], trainee)))
			if b := x.try(t, by, header, m, nobody); b.text != got.text {
				t.Errorf("%s: of another trainee\n%q\nof nobody\n%q", c.name, got.text, b.text)
			}
			if makesTrainee(m) {
				continue
			}
			if b := x.try(t, by, right, m, nobody); b.text != got.text {
				t.Errorf("%s: of another trainee\n%q\nof nobody, to who is not bound\n%q", c.name, got.text, b.text)
			}
		}
		now := x.rows(t, "")
		if got.code != codes.OK && now != before {
			t.Errorf("%s: something was written", c.name)
		}
		before = now
	}
	elsewhere := *x.running
	elsewhere.crossed = true
	got := elsewhere.call(t, by, right, m, ours)
	x.crossings++
	if by.rule == nil && got.code != codes.Unimplemented || by.rule != nil && got.status != 404 {
		t.Errorf("on the other listener: %q", got.text)
	}
	if x.rows(t, "") != before {
		t.Error("on the other listener: something was written")
	}
}

// hides puts each id of ours alone into a call of the other tenant.
func (x *matrix) hides(t *testing.T, m protoreflect.MethodDescriptor, by way, ours, foreign []proto.Message) {
	t.Helper()
	theirs := "Bearer " + x.theirs.token
	for _, field := range idFields(m) {
		named := textAt(ours[0], field)
		nobody := nobodys(named)
		if nobody == named {
			continue // each tenant has one of that name
		}
		a := x.try(t, by, theirs, m, withText(foreign, field, named))
		b := x.try(t, by, theirs, m, withText(foreign, field, nobody))
		x.hidden++
		if want := ofForeign(m, field); a.code != want {
			t.Errorf("%v of another tenant: want %v: %s", field, want, a.text)
		}
		if x, y := comparableText(t, m, a), comparableText(t, m, b); x != y {
			t.Errorf("%v of another tenant\n%q\nof nobody\n%q", field, x, y)
		}
		if makesTrainee(m) { // by that name it may, and lets go of it so that no list of its own has the name
			caller{x.theirs.running, x.theirs.tenant, named}.erase(t)
			continue
		}
		x.told.WriteString(a.text + b.text)
	}
}

// succeeds makes the call with the right credentials, each a request of its own: a key,
// a token, and a key and a token that are bound to the trainee whom it is about.
func (x *matrix) succeeds(t *testing.T, m protoreflect.MethodDescriptor, by way, ours []proto.Message) {
	t.Helper()
	scope := requiredScope(m)
	for i, right := range []struct {
		name   string
		bound  bool
		header func(trainee string) string
	}{
		{"a key", false, func(string) string { return "Bearer " + x.key("tenant-a", scope) }},
		{"a token", false, func(string) string { return x.idp.bearer(t, claims{"scope": scope}) }},
		{"a bound key", true, func(trainee string) string { return "Bearer " + x.boundKey(t, trainee, scope) }},
		{"a bound token", true, func(trainee string) string { return x.idp.bearer(t, claims{"scope": scope, "trainee": trainee}) }},
	} {
		if right.bound && (traineeField(m) == nil || makesTrainee(m)) {
			continue
		}
		if i > 0 {
			x.n++
			ours = valid[fullName(m)](t, x.mine, x.n)
		}
		trainee := ""
		if right.bound {
			trainee = strings.Split(textAt(ours[0], traineeField(m)), "/")[1]
		}
		if got := x.try(t, by, right.header(trainee), m, ours); got.code != codes.OK || len(got.answers) == 0 {
			t.Errorf("with %s: %q", right.name, got.text)
		}
		x.succeeded++
	}
}

// boundKey is a key for one trainee of tenant-a alone.
func (w *world) boundKey(t *testing.T, trainee string, scopes ...string) string {
	t.Helper()
	token, err := w.app.Keyring().IssueEdited(t.Context(), "tenant-a", scopes, func(k *store.Key) { k.Trainee = trainee })
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// listTheirs reads all that the other tenant has.
func (x *matrix) listTheirs(t *testing.T) {
	t.Helper()
	for _, m := range contract() {
		if traineeField(m) != nil || !strings.HasPrefix(string(m.Name()), "List") && !strings.HasPrefix(string(m.Name()), "Get") {
			continue
		}
		requests := valid[fullName(m)](t, x.theirs, 0)
		if m.Input().Fields().ByName("trainee") != nil {
			requests = withText(requests, []string{"trainee"}, "")
		}
		for _, by := range ways(m) {
			x.told.WriteString(x.try(t, by, "Bearer "+x.theirs.token, m, requests).text)
		}
	}
}

// unsaid checks that no credential stands in a text.
func (x *matrix) unsaid(t *testing.T, where, text string) {
	t.Helper()
	for header := range x.sent {
		_, secret, _ := strings.Cut(header, " ")
		if parts := strings.Split(secret, "_"); len(parts) == 4 {
			secret = parts[2]
		}
		if len(secret) > 20 && strings.Contains(text, secret) {
			t.Errorf("a credential is in %s", where)
		}
	}
	if len(x.sent) < 20 {
		t.Errorf("only %d credentials looked for", len(x.sent))
	}
}
