package service_test

import (
	"encoding/base32"
	"hash/crc32"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// credential is one that must not open what belongs to the trainee of mine.
type credential struct {
	name   string
	header func(scope string) string // of a call to a method that asks for the scope
	// want are the codes of a method that names a trainee or a thing of one; ofAll is
	// the code of one about the whole tenant, OK where it may see its own.
	want  []codes.Code
	ofAll codes.Code
}

// credentials makes them. A new way to be somebody adds its bad ones here.
func badCredentials(t *testing.T, w *world) []credential {
	bearer := func(token string) func(string) string {
		return func(string) string { return "Bearer " + token }
	}
	edited := func(tenant string, scopes []string, edit func(*store.Key)) string {
		token, err := w.app.Keyring().IssueEdited(t.Context(), tenant, scopes, edit)
		if err != nil {
			t.Fatal(err)
		}
		return token
	}
	all := access.ScopeNames()
	unknown := func(name, header string) credential {
		return credential{name, func(string) string { return header }, []codes.Code{codes.Unauthenticated}, codes.Unauthenticated}
	}
	last := w.token[len(w.token)-1]
	lacking, foreign := map[string]string{}, map[string]string{}
	for _, scope := range all {
		lacking[scope] = "Bearer " + w.key("tenant-a", slices.DeleteFunc(slices.Clone(all), func(s string) bool { return s == scope })...)
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
		unknown("expired", "Bearer "+edited("tenant-a", all, func(k *store.Key) { k.Expires = k.Created.Add(-time.Hour) })),
		unknown("revoked", "Bearer "+edited("tenant-a", all, func(k *store.Key) { k.Revoked = k.Created })),
		{"other tenant", func(scope string) string { return foreign[scope] }, []codes.Code{codes.NotFound}, codes.OK},
		{"other tenant, all scopes", bearer(w.theirs.token), []codes.Code{codes.NotFound}, codes.OK},
		{"lacks the scope", func(scope string) string { return lacking[scope] }, []codes.Code{codes.PermissionDenied}, codes.PermissionDenied},
	}
}

// mixed is a token of one's id and another's secret, with a right checksum.
func mixed(id, secret string) string {
	body := strings.Join([]string{"steelyard", strings.Split(id, "_")[1], strings.Split(secret, "_")[2]}, "_")
	sum := crc32.ChecksumIEEE([]byte(body))
	text := base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString([]byte{byte(sum >> 24), byte(sum >> 16), byte(sum >> 8), byte(sum)})
	return body + "_" + strings.ToLower(text)
}
