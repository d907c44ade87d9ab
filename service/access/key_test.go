package access

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

var (
	issuedAt = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	pepper   = []byte("test pepper")
)

// keys is a store of keys; asked counts the questions.
type keys struct {
	byID  map[string]store.Key
	err   error
	asked int
}

func (k *keys) Key(_ context.Context, id string) (store.Key, error) {
	k.asked++
	if k.err != nil {
		return store.Key{}, k.err
	}
	found, ok := k.byID[id]
	if !ok {
		return store.Key{}, fmt.Errorf("read key: %w", store.ErrNotFound)
	}
	return found, nil
}

// issued is an authenticator that holds one key, and the key's token.
func issued(t *testing.T, change func(*store.Key)) (Authenticator, *keys, string) {
	t.Helper()
	token, k, err := Issue(pepper, "gym-1", "front desk", []string{"log.write", "log.read"}, issuedAt, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(&k)
	}
	s := &keys{byID: map[string]store.Key{k.ID: k}}
	return Authenticator{Keys: s, Pepper: pepper, Now: func() time.Time { return issuedAt.Add(time.Hour) }}, s, token
}

func TestBearer_RightKeyOpens(t *testing.T) {
	a, s, token := issued(t, nil)
	for _, scheme := range []string{"Bearer", "bearer", "BEARER"} {
		p, err := a.Bearer(t.Context(), scheme+" "+token)
		if err != nil {
			t.Fatal(err)
		}
		if p.Tenant != "gym-1" || s.byID[p.KeyID].Name != "front desk" || !p.May("log.write") || !p.May("log.read") || p.May("erase") {
			t.Errorf("%s: %+v", scheme, p)
		}
	}
}

func TestBearer_WrongKeyDoesNotOpen(t *testing.T) {
	a, s, token := issued(t, nil)
	parts := strings.Split(token, "_")
	whole := func(id, secret string) string {
		body := Prefix + "_" + id + "_" + secret
		return "Bearer " + body + "_" + checksum(body)
	}
	other, _, err := Issue(pepper, "gym-1", "", []string{"log.read"}, issuedAt, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	for name, header := range map[string]string{
		"no header":                    "",
		"no token":                     "Bearer",
		"empty token":                  "Bearer ",
		"token only":                   token,
		"other scheme":                 "Basic " + token,
		"two spaces":                   "Bearer  " + token,
		"space after":                  "Bearer " + token + " ",
		"word after":                   "Bearer " + token + " more",
		"NUL":                          "Bearer " + token + "\x00",
		"not ours":                     "Bearer eyJhbGciOiJub25lIn0.e30.",
		"underscores only":             "Bearer ____",
		"long":                         "Bearer " + strings.Repeat("a", 1<<16),
		"wrong secret, right checksum": whole(parts[1], strings.Repeat("a", len(parts[2]))),
		"no secret, right checksum":    whole(parts[1], ""),
		"wrong checksum":               "Bearer " + strings.Join(parts[:3], "_") + "_aaaaaaa",
		"no checksum":                  "Bearer " + strings.Join(parts[:3], "_"),
		"other prefix, right checksum": "Bearer x_" + parts[1] + "_" + parts[2] + "_" + checksum("x_"+parts[1]+"_"+parts[2]),
		"one part more":                "Bearer " + strings.Join(parts[:3], "_") + "_x_" + checksum(strings.Join(parts[:3], "_")+"_x"),
		"unknown id":                   whole("aaaaaaaaaaaaaaaa", parts[2]),
		"key that was never stored":    "Bearer " + other,
		"upper case":                   "Bearer " + strings.ToUpper(token),
	} {
		if p, err := a.Bearer(t.Context(), header); !errors.Is(err, ErrUnauthenticated) || p.Tenant != "" {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
	}
	before := s.asked
	for i := range token { // a slip of the pen is found without a look at the store
		slip := []byte(token)
		if slip[i]++; slip[i] > 'z' {
			slip[i] = 'a'
		}
		if _, err := a.Bearer(t.Context(), "Bearer "+string(slip)); !errors.Is(err, ErrUnauthenticated) {
			t.Errorf("slip at %d: %v", i, err)
		}
	}
	if s.asked != before {
		t.Errorf("the store was asked %d times for mistyped keys", s.asked-before)
	}
}

func TestBearer_EndedKeyDoesNotOpen(t *testing.T) {
	expiry := issuedAt.Add(time.Hour)
	for _, c := range []struct {
		name  string
		key   func(*store.Key)
		now   time.Time
		opens bool
	}{
		{"a second before it expires", func(k *store.Key) { k.Expires = expiry }, expiry.Add(-time.Second), true},
		{"a nanosecond before", func(k *store.Key) { k.Expires = expiry }, expiry.Add(-1), true},
		{"at the second", func(k *store.Key) { k.Expires = expiry }, expiry, false},
		{"a second after", func(k *store.Key) { k.Expires = expiry }, expiry.Add(time.Second), false},
		{"another zone", func(k *store.Key) { k.Expires = expiry }, expiry.In(time.FixedZone("", 3600*9)), false},
		{"never expires", nil, expiry.AddDate(500, 0, 0), true},
		{"revoked", func(k *store.Key) { k.Revoked = issuedAt }, issuedAt.Add(time.Minute), false},
		{"revoked and not expired", func(k *store.Key) { k.Revoked, k.Expires = issuedAt, expiry }, issuedAt.Add(time.Minute), false},
	} {
		a, _, token := issued(t, c.key)
		a.Now = func() time.Time { return c.now }
		if _, err := a.Bearer(t.Context(), "Bearer "+token); (err == nil) != c.opens || (!c.opens && !errors.Is(err, ErrUnauthenticated)) {
			t.Errorf("%s: %v, want opens %v", c.name, err, c.opens)
		}
	}
}

func TestBearer_OtherPepperDoesNotOpen(t *testing.T) {
	a, _, token := issued(t, nil)
	for _, p := range [][]byte{nil, []byte("test peppeR"), append([]byte("x"), pepper...)} {
		a.Pepper = p
		if _, err := a.Bearer(t.Context(), "Bearer "+token); !errors.Is(err, ErrUnauthenticated) {
			t.Errorf("pepper %q: %v", p, err)
		}
	}
}

// TestBearer_StoreFailureIsNoRefusal: a caller whose key could not be looked up
// must not be told that it is wrong.
func TestBearer_StoreFailureIsNoRefusal(t *testing.T) {
	a, s, token := issued(t, nil)
	for _, failure := range []error{store.ErrUnavailable, context.Canceled, context.DeadlineExceeded, errors.New("disk")} {
		s.err = fmt.Errorf("read key: %w", failure)
		if _, err := a.Bearer(t.Context(), "Bearer "+token); errors.Is(err, ErrUnauthenticated) || !errors.Is(err, failure) {
			t.Errorf("%v became %v", failure, err)
		}
	}
}

func TestIssue_StoresNoSecret(t *testing.T) {
	token, k, err := Issue(pepper, "gym-1", "front desk", []string{"log.read"}, issuedAt, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	id, secret, ok := split(token)
	if !ok || id != k.ID || len(id) != 16 || len(secret) != 52 || !strings.HasPrefix(token, "steelyard_") {
		t.Fatalf("token %q is not of the documented shape", token)
	}
	raw, err := encoding.DecodeString(secret)
	if err != nil || len(raw) != 32 {
		t.Fatalf("secret of %d bytes, %v", len(raw), err)
	}
	stored := fmt.Sprintf("%+v %q %s", k, k.Hash, k.Hash)
	if strings.Contains(stored, secret) || bytes.Contains(k.Hash, raw) || strings.Contains(stored, string(raw)) {
		t.Error("the stored key holds the secret")
	}
	if len(k.Hash) != 32 || bytes.Equal(k.Hash, hash(nil, secret)) {
		t.Error("the hash is not keyed with the pepper")
	}
}

func TestIssue_MakesEachKeyAnew(t *testing.T) {
	seen := map[string]bool{}
	for range 100 {
		token, k, err := Issue(pepper, "gym-1", "", []string{"log.read"}, issuedAt, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		_, secret, _ := split(token)
		if seen[k.ID] || seen[secret] {
			t.Fatal("an id or a secret was made twice")
		}
		seen[k.ID], seen[secret] = true, true
	}
}

func TestIssue_NamesWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		name, tenant string
		scopes       []string
		want         string
	}{
		{"no tenant", "", []string{"log.read"}, "tenant:"},
		{"tenant with a slash", "gym/1", []string{"log.read"}, "tenant:"},
		{"tenant in capitals", "Gym", []string{"log.read"}, "tenant:"},
		{"tenant that starts with a hyphen", "-gym", []string{"log.read"}, "tenant:"},
		{"tenant of 64", strings.Repeat("a", 64), []string{"log.read"}, "tenant:"},
		{"tenant with a line after it", "gym\n", []string{"log.read"}, "tenant:"},
		{"no scope", "gym", nil, "scopes:"},
		{"unknown scope", "gym", []string{"log.read", "log.burn"}, `scopes: "log.burn" is not one of log.write, log.read,`},
	} {
		token, k, err := Issue(pepper, c.tenant, "", c.scopes, issuedAt, time.Time{})
		if err == nil || !strings.HasPrefix(err.Error(), c.want) || token != "" || k.ID != "" {
			t.Errorf("%s: %q %+v %v, want an error that starts with %q", c.name, token, k, err, c.want)
		}
	}
	if _, _, err := Issue(pepper, strings.Repeat("a", 63), "", ScopeNames(), issuedAt, time.Time{}); err != nil {
		t.Errorf("longest tenant, all scopes: %v", err)
	}
}

func TestFrom_StrangerOwnsNothing(t *testing.T) {
	p := From(t.Context())
	if p.Tenant != "" || p.KeyID != "" || len(p.Scopes) != 0 {
		t.Errorf("principal of nobody: %+v", p)
	}
	for _, s := range append(ScopeNames(), "") {
		if p.May(s) {
			t.Errorf("nobody may %q", s)
		}
	}
	if got := From(With(t.Context(), Principal{Tenant: "gym-1"})); got.Tenant != "gym-1" {
		t.Errorf("carried %+v", got)
	}
}

// TestFill_KeepsWhatIsGiven: the binding, and an id that was made from a request.
func TestFill_KeepsWhatIsGiven(t *testing.T) {
	id, err := RequestedID(pepper, "gym-1", "Make", "r")
	if err != nil {
		t.Fatal(err)
	}
	token, k, err := Fill(pepper, store.Key{ID: id, Tenant: "gym-1", Trainee: "t1", Scopes: []string{"log.write"}, Created: issuedAt})
	if err != nil || k.ID != id || k.Trainee != "t1" || !strings.HasPrefix(token, Prefix+"_"+id+"_") {
		t.Fatalf("%+v, %v", k, err)
	}
	a := Authenticator{Keys: &keys{byID: map[string]store.Key{id: k}}, Pepper: pepper, Now: func() time.Time { return issuedAt }}
	p, err := a.Bearer(t.Context(), "Bearer "+token)
	if err != nil || p.Trainee != "t1" || p.Actor != "apiKeys/"+id {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestFill_BoundKeyCannotManage(t *testing.T) {
	k := store.Key{Tenant: "gym-1", Trainee: "t1", Scopes: []string{"log.read", AdminScope}}
	if _, _, err := Fill(pepper, k); err == nil || !strings.HasPrefix(err.Error(), "scopes:") {
		t.Errorf("error %v", err)
	}
	k.Trainee = ""
	if _, _, err := Fill(pepper, k); err != nil {
		t.Error(err)
	}
}

// TestRequestedID_NamesOneRequest: the same for the same, another for anything else.
func TestRequestedID_NamesOneRequest(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range [][4]string{
		{"p", "gym", "Make", "r"}, {"q", "gym", "Make", "r"}, {"p", "gym2", "Make", "r"}, {"p", "gym", "Rotate", "r"}, {"p", "gym", "Make", "s"},
		{"p", "gymM", "ake", "r"},
	} {
		var ids [2]string
		for i := range ids {
			var err error
			if ids[i], err = RequestedID([]byte(c[0]), c[1], c[2], c[3]); err != nil {
				t.Fatal(err)
			}
		}
		if ids[0] != ids[1] || seen[ids[0]] || len(ids[0]) != 16 {
			t.Errorf("%v: %q", c, ids)
		}
		seen[ids[0]] = true
	}
}
