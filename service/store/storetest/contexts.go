package storetest

import (
	"context"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var contexts = []testCase{
	{"EndedBeforeTheCall", contextEndedBefore},
	{"EndedInTheMidstOfAWrite", contextEndedInWrite},
	{"EndedInTheMidstOfARead", contextEndedInRead},
	{"EndedWhileWaitingForAnotherWrite", contextEndedWhileWaiting},
}

// "every method honours its context": an ended one is reported as what it is,
// and nothing is done.
func contextEndedBefore(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, tryUpdate(t.Context(), s, ada, fill))
	must(t, s.PutKey(t.Context(), key("k1", ada.Tenant, 0), act()))
	before := stateOf(t, s, ada)

	canceled, cancel := context.WithCancel(t.Context())
	cancel()
	expired, cancel := context.WithDeadline(t.Context(), time.Unix(0, 0))
	defer cancel()
	for _, ctx := range []context.Context{canceled, expired} {
		for name, call := range map[string]func() error{
			"Ping":     func() error { return s.Ping(ctx) },
			"Head":     func() error { _, err := s.Head(ctx, ada); return err },
			"Snapshot": func() error { _, err := s.Snapshot(ctx, ada, day0); return err },
			"View":     func() error { return s.View(ctx, ada, func(store.View) error { return nil }) },
			"Create": func() error {
				_, err := s.Create(ctx, bo, store.Once{}, store.Trainee{}, answering(say("")))
				return err
			},
			"Update":    func() error { return tryUpdate(ctx, s, ada, overturn) },
			"Erase":     func() error { _, err := s.Erase(ctx, ada, act()); return err },
			"PutKey":    func() error { return s.PutKey(ctx, key("k2", ada.Tenant, 0), act()) },
			"Key":       func() error { _, err := s.Key(ctx, "k1"); return err },
			"ListKeys":  func() error { _, err := s.ListKeys(ctx, ada.Tenant, "", 100); return err },
			"RevokeKey": func() error { _, err := s.RevokeKey(ctx, ada.Tenant, "k1", act()); return err },
			"RotateKey": func() error { return s.RotateKey(ctx, "k1", time.Now(), key("k2", ada.Tenant, 0), act()) },
			"UsedKeys":  func() error { return s.UsedKeys(ctx, map[string]time.Time{"k1": time.Now()}) },
			"AddAudit":  func() error { return s.AddAudit(ctx, ada, act()) },
			"AuditTrail": func() error {
				_, err := s.AuditTrail(ctx, ada.Tenant, store.AuditQuery{Limit: 1})
				return err
			},
			"IdleDays":    func() error { _, err := s.IdleDays(ctx, ada.Tenant); return err },
			"SetIdleDays": func() error { return s.SetIdleDays(ctx, ada.Tenant, 30, act()) },
			"Sweep":       func() error { _, err := s.Sweep(ctx, sweepOf(time.Now())); return err },
		} {
			wantErr(t, name, call(), ctx.Err())
		}
	}

	same(t, "state", stateOf(t, s, ada), before)
	wantGone(t, s, bo)
	list, err := s.ListKeys(t.Context(), ada.Tenant, "", 100)
	must(t, err)
	same(t, "keys", list, []store.Key{key("k1", ada.Tenant, 0)})
}

// Ended during the callback, nothing is committed, whatever the callback says.
func contextEndedInWrite(t *testing.T, s store.Store) {
	create(t, s, ada)
	before := stateOf(t, s, ada)
	ctx, cancel := context.WithCancel(t.Context())
	_, err := s.Update(ctx, ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
		must(t, fill(tx))
		cancel()
		wantErr(t, "a step", tx.PutEntries([]engine.Entry{weighIn(day0, 1)}), context.Canceled)
		return say("done"), nil
	})
	wantErr(t, "update", err, context.Canceled)
	same(t, "state", stateOf(t, s, ada), before)
	wantFree(t, s, "r")

	ctx, cancel = context.WithCancel(t.Context())
	err = tryUpdate(ctx, s, ada, func(tx store.Tx) error {
		err := fill(tx)
		cancel() // nothing but the commit is left
		return err
	})
	wantErr(t, "update", err, context.Canceled)
	if got := stateOf(t, s, ada); len(got.Entries) != 0 {
		t.Errorf("%d entries of a write that failed", len(got.Entries))
	}
}

func contextEndedInRead(t *testing.T, s store.Store) {
	create(t, s, ada)
	ctx, cancel := context.WithCancel(t.Context())
	err := s.View(ctx, ada, func(v store.View) error {
		cancel()
		_, err := v.Entries(everything())
		return err
	})
	wantErr(t, "view", err, context.Canceled)
}

// A write that waits for another one on the same trainee gives up with its context.
func contextEndedWhileWaiting(t *testing.T, s store.Store) {
	create(t, s, ada)
	ctx, cancel := context.WithCancel(t.Context())
	waiting := make(chan error)
	must(t, tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		go func() { waiting <- tryUpdate(ctx, s, ada, fill) }()
		cancel()
		wantErr(t, "the waiting write", <-waiting, context.Canceled)
		return tx.PutEntries([]engine.Entry{weighIn(day0, 70)})
	}))
	same(t, "entries", logOf(t, s, ada), []engine.Entry{weighIn(day0, 70)})
}
