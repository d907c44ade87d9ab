package storetest

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var tenants = []testCase{
	{"ForeignScopeIsLikeNone", foreignScopeIsLikeNone},
	{"SameIDIsTwoTrainees", sameIDIsTwoTrainees},
	{"ForeignKeyIsLikeNone", foreignKeyIsLikeNone},
}

// "A scope of another tenant behaves in every respect like one that does not
// exist": each method that takes a scope gives the same error, to the letter.
func foreignScopeIsLikeNone(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	_, err := weigh(t, s, ada, once("r", "h"), 70)
	must(t, err)
	before := stateOf(t, s, ada)
	methods := map[string]func(sc store.Scope) error{
		"Head":     func(sc store.Scope) error { _, err := s.Head(t.Context(), sc); return err },
		"Snapshot": func(sc store.Scope) error { _, err := s.Snapshot(t.Context(), sc, day0); return err },
		"View":     func(sc store.Scope) error { return s.View(t.Context(), sc, func(store.View) error { return nil }) },
		"Update":   func(sc store.Scope) error { return tryUpdate(t.Context(), s, sc, fill) },
		"Replay":   func(sc store.Scope) error { _, err := weigh(t, s, sc, once("r", "h"), 70); return err },
		"Reuse":    func(sc store.Scope) error { _, err := weigh(t, s, sc, once("r", "other"), 70); return err },
		"AddAudit": func(sc store.Scope) error { return s.AddAudit(t.Context(), sc, act()) },
		"PutKey": func(sc store.Scope) error {
			k := key("k", sc.Tenant, 0)
			k.Trainee = sc.Trainee
			return s.PutKey(t.Context(), k, act())
		},
		"Erase": func(sc store.Scope) error { _, err := s.Erase(t.Context(), sc, act()); return err },
	}
	for name, call := range methods {
		foreign := call(store.Scope{Tenant: adaToo.Tenant, Trainee: ada.Trainee})
		absent := call(store.Scope{Tenant: adaToo.Tenant, Trainee: "nobody"})
		nowhere := call(store.Scope{Tenant: "no-such-tenant", Trainee: "nobody"})
		wantErr(t, name, foreign, store.ErrNotFound)
		same(t, name+" of none", foreign.Error(), absent.Error())
		same(t, name+" of no tenant", foreign.Error(), nowhere.Error())
	}
	same(t, "state", stateOf(t, s, ada), before)
}

// What exists elsewhere is no obstacle, and is not touched: Create too behaves as
// if it were not there, and so does each id within.
func sameIDIsTwoTrainees(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	before := stateOf(t, s, ada)
	create(t, s, adaToo)
	got := stateOf(t, s, adaToo)
	same(t, "state", got, state{Head: got.Head, Trainee: got.Trainee, Window: engine.Window{First: day0 - 7}})
	must(t, tryUpdate(t.Context(), s, adaToo, fill))
	must(t, tryUpdate(t.Context(), s, adaToo, overturn))
	same(t, "the other tenant's", stateOf(t, s, ada), before)
}

func foreignKeyIsLikeNone(t *testing.T, s store.Store) {
	must(t, s.PutKey(t.Context(), key("k1", ada.Tenant, 0), act()))
	list, err := s.ListKeys(t.Context(), adaToo.Tenant, "", 100)
	must(t, err)
	same(t, "keys", list, []store.Key{})
	_, foreign := s.RevokeKey(t.Context(), adaToo.Tenant, "k1", act())
	wantErr(t, "revoke", foreign, store.ErrNotFound)
	_, absent := s.RevokeKey(t.Context(), adaToo.Tenant, "k2", act())
	same(t, "revoke of none", absent.Error(), foreign.Error())
	got, err := s.Key(t.Context(), "k1")
	must(t, err)
	same(t, "key", got, key("k1", ada.Tenant, 0))
}
