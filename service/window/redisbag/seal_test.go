package redisbag

import (
	"bytes"
	"testing"

	"example.com/steelyard/service/store"
)

func mustSealer(t *testing.T, secret byte) sealer {
	t.Helper()
	s, err := newSealer(bytes.Repeat([]byte{secret}, MinSecret))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSealer_ASchemaHoldsNothingOfAnother: neither its name nor its seal.
func TestSealer_ASchemaHoldsNothingOfAnother(t *testing.T) {
	sc := store.Scope{Tenant: "a", Trainee: "b"}
	now, next := mustSealer(t, 1), mustSealer(t, 1)
	next.schema++
	value := now.seal(sc, []byte("plain"))
	if plain, err := now.open(sc, value); err != nil || string(plain) != "plain" {
		t.Fatalf("%q, %v", plain, err)
	}
	if now.name(sc) == next.name(sc) {
		t.Error("two schemas share a name")
	}
	if _, err := next.open(sc, value); err == nil {
		t.Error("the next schema opens what this one sealed")
	}
	relabelled := append([]byte{next.schema}, value[1:]...)
	if _, err := next.open(sc, relabelled); err == nil {
		t.Error("the schema is not bound")
	}
}

// TestSealer_ScopesNeverMix, whatever the ids hold: the same text parted
// elsewhere is another trainee.
func TestSealer_ScopesNeverMix(t *testing.T) {
	s := mustSealer(t, 1)
	names := map[string]store.Scope{}
	scopes := []store.Scope{{}, {Tenant: "ab"}, {Trainee: "ab"}, {Tenant: "a", Trainee: "b"}, {Tenant: "a\x00", Trainee: "b"}, {Tenant: "a", Trainee: "\x00b"}, {Tenant: "b", Trainee: "a"}, {Tenant: "\x01a", Trainee: "b"}}
	for _, sc := range scopes {
		if other, ok := names[s.name(sc)]; ok {
			t.Errorf("%q and %q share a name", sc, other)
		}
		names[s.name(sc)] = sc
		value := s.seal(sc, []byte("plain"))
		for _, other := range scopes {
			if _, err := s.open(other, value); (err == nil) != (sc == other) {
				t.Errorf("sealed for %q, opened for %q: %v", sc, other, err)
			}
		}
	}
	if mustSealer(t, 2).name(scopes[3]) == s.name(scopes[3]) {
		t.Error("the name does not depend on the secret")
	}
}
