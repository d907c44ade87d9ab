package service_test

import (
	"encoding/base32"
	"hash/crc32"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// credential is one that must not open what belongs to the trainee of mine.
type credential struct {
	name   string
	header func(scope string) string // of a call to a method that asks for the scope
	want   codes.Code                // of a method about one trainee
	ofAll  codes.Code                // of a method about the whole tenant
	// foreign is one of another tenant, which may do as it likes there; want and ofAll say nothing.
	foreign bool
	bound   bool // to another trainee of the tenant
}

// wants is the code that the credential must hear of a call about ours; false where
// it may do that.
func (c credential) wants(m protoreflect.MethodDescriptor, ours []proto.Message) (codes.Code, bool) {
	switch {
	case c.foreign:
		return asForeign(m, ours), !makesTrainee(m)
	case traineeField(m) == nil:
		return c.ofAll, true
	}
	return c.want, true
}

// asForeign is the code that a caller of another tenant hears of a request with our ids.
func asForeign(m protoreflect.MethodDescriptor, ours []proto.Message) codes.Code {
	for _, field := range idFields(m) {
		name := textAt(ours[0], field)
		if code := ofForeign(m, field); nobodys(name) != name && code != codes.OK {
			return code
		}
	}
	return codes.OK
}

// ofForeign is the code where one field names a thing of another tenant: that is not
// there, what is made cannot refer to it, and a list of what is about it is empty.
func ofForeign(m protoreflect.MethodDescriptor, field []string) codes.Code {
	switch {
	case makesTrainee(m) || strings.Join(field, ".") == "trainee":
		return codes.OK
	case field[len(field)-1] == "trainee":
		return codes.InvalidArgument
	}
	return codes.NotFound
}

func always(header string) func(string) string { return func(string) string { return header } }

func allScopesBut(scope string) []string {
	return slices.DeleteFunc(access.ScopeNames(), func(s string) bool { return s == scope })
}

// badKeys makes those that are keys, or are none. A new way to be somebody adds its
// bad ones in a list of its own.
func badKeys(t *testing.T, w *world) []credential {
	t.Helper()
	edited := func(edit func(*store.Key)) string {
		token, err := w.app.Keyring().IssueEdited(t.Context(), "tenant-a", access.ScopeNames(), edit)
		if err != nil {
			t.Fatal(err)
		}
		return "Bearer " + token
	}
	unknown := func(name, header string) credential {
		return credential{name: name, header: always(header), want: codes.Unauthenticated, ofAll: codes.Unauthenticated}
	}
	last := w.token[len(w.token)-1]
	lacking, foreign := map[string]string{}, map[string]string{}
	for _, scope := range access.ScopeNames() {
		lacking[scope] = "Bearer " + w.key("tenant-a", allScopesBut(scope)...)
		foreign[scope] = "Bearer " + w.key("tenant-b", scope)
	}
	return []credential{
		unknown("none", ""),
		unknown("garbage", "Bearer yes please"),
		unknown("malformed scheme", "Basic "+w.token),
		unknown("no scheme", w.token),
		unknown("wrong checksum", "Bearer "+w.token[:len(w.token)-1]+string(last^1)),
		unknown("another's secret", "Bearer "+mixed(w.token, w.theirs.token)),
		unknown("unknown id", "Bearer "+mixed("steelyard_aaaaaaaaaaaaaaaa_x_x", w.token)),
		unknown("expired", edited(func(k *store.Key) { k.Expires = k.Created.Add(-time.Hour) })),
		unknown("revoked", edited(func(k *store.Key) { k.Revoked = k.Created })),
		unknown("revoked in use", w.ended(t, func(name string) error {
			_, err := w.admins().RevokeApiKey(w.ctx(), &pb.RevokeApiKeyRequest{Name: name})
			return err
		})),
		unknown("replaced in use", w.ended(t, func(name string) error {
			_, err := w.admins().RotateApiKey(w.ctx(), &pb.RotateApiKeyRequest{Name: name, OverlapHours: proto.Int32(0)})
			return err
		})),
		{name: "other tenant", header: func(scope string) string { return foreign[scope] }, foreign: true},
		{name: "other tenant, all scopes", header: always("Bearer " + w.theirs.token), foreign: true},
		{name: "lacks the scope", header: func(scope string) string { return lacking[scope] }, want: codes.PermissionDenied, ofAll: codes.PermissionDenied},
		{
			name: "bound to another trainee", header: always("Bearer " + w.boundKey(t, otherOfMine, access.ScopeNames()...)),
			want: codes.NotFound, ofAll: codes.PermissionDenied, bound: true,
		},
	}
}

// ended is a key that has opened and is then ended, by its name.
func (w *world) ended(t *testing.T, end func(name string) error) string {
	t.Helper()
	token := w.key("tenant-a", access.ScopeNames()...)
	if _, err := w.trainees().GetTrainee(w.as(token), &pb.GetTraineeRequest{Name: w.mine.name()}); err != nil {
		t.Fatal(err)
	}
	if err := end("apiKeys/" + strings.Split(token, "_")[1]); err != nil {
		t.Fatal(err)
	}
	return "Bearer " + token
}

// mixed is a token of one's id and another's secret, with a right checksum.
func mixed(id, secret string) string {
	body := strings.Join([]string{"steelyard", strings.Split(id, "_")[1], strings.Split(secret, "_")[2]}, "_")
	sum := crc32.ChecksumIEEE([]byte(body))
	text := base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString([]byte{byte(sum >> 24), byte(sum >> 16), byte(sum >> 8), byte(sum)})
	return body + "_" + strings.ToLower(text)
}
