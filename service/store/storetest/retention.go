package storetest

import (
	"errors"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

var retentions = []testCase{
	{"IdleDaysAreKept", idleDaysAreKept},
	{"SettingIsOnTheTrail", retentionIsOnTheTrail},
	{"SweepErasesTheIdle", sweepErasesTheIdle},
	{"SweepKeepsWhoWasWritten", sweepKeepsWhoWasWritten},
	{"SweepSparesWhoIsWrittenMeanwhile", sweepSparesWhoIsWrittenMeanwhile},
	{"SweepOfRequestIDs", sweepOfRequestIDs},
	{"SweepOfAuditRecords", sweepOfAuditRecords},
	{"SweepIsBounded", sweepIsBounded},
	{"SweepsAtOnce", sweepsAtOnce},
}

const day = 24 * time.Hour

// sweepOf removes nothing but the idle, as of a time.
func sweepOf(now time.Time) store.SweepQuery {
	return store.SweepQuery{
		Now: now, RequestIDsBefore: time.Unix(0, 0), AuditBefore: time.Unix(0, 0), Limit: 100,
		Erasure: func(store.Scope) store.AuditRecord { return actedAt("EraseTrainee", now) },
	}
}

func sweep(t tb, s store.Store, q store.SweepQuery) store.Swept {
	t.Helper()
	got, err := s.Sweep(t.Context(), q)
	must(t, err)
	return got
}

func idleDays(t tb, s store.Store, tenant string) int {
	t.Helper()
	days, err := s.IdleDays(t.Context(), tenant)
	must(t, err)
	return days
}

// "0, also of a tenant that was never heard of, is never."
func idleDaysAreKept(t *testing.T, s store.Store) {
	same(t, "of nobody", idleDays(t, s, "t"), 0)
	create(t, s, ada)
	same(t, "of a tenant", idleDays(t, s, ada.Tenant), 0)
	for _, days := range []int{400, 30, 0, 36500} {
		must(t, s.SetIdleDays(t.Context(), ada.Tenant, days, act()))
		same(t, "days", idleDays(t, s, ada.Tenant), days)
	}
	must(t, s.SetIdleDays(t.Context(), "without a trainee", 31, act()))
	same(t, "days", idleDays(t, s, "without a trainee"), 31)
	same(t, "of another", idleDays(t, s, adaToo.Tenant), 0)
}

// "SetIdleDays changes it and adds the audit record in the same transaction."
func retentionIsOnTheTrail(t *testing.T, s store.Store) {
	want := acted("UpdateRetention", 1)
	must(t, s.SetIdleDays(t.Context(), "t", 30, want))
	same(t, "trail", trail(t, s, "t", ""), []store.AuditRecord{want})
}

// "trainees that nothing was written of for longer than their tenant's idle days (as
// Erase, ... by the actor retention)".
func sweepErasesTheIdle(t *testing.T, s store.Store) {
	for _, sc := range []store.Scope{ada, bo, adaToo} {
		create(t, s, sc)
		must(t, tryUpdate(t.Context(), s, sc, fill))
	}
	must(t, s.SetIdleDays(t.Context(), ada.Tenant, 30, acted("UpdateRetention", 0)))
	before := stateOf(t, s, adaToo)
	same(t, "swept today", sweep(t, s, sweepOf(time.Now())), store.Swept{})

	q := sweepOf(time.Now().Add(30*day + time.Minute))
	q.Erasure = func(sc store.Scope) store.AuditRecord {
		r := actedAt("EraseTrainee", q.Now)
		r.Actor, r.Resource = "retention", "trainees/hash-of-"+sc.Trainee
		return r
	}
	got := sweep(t, s, q)
	if len(got.Erased) != 2 || got.More || got.Erased[0].Tenant != ada.Tenant || got.Erased[1].Tenant != ada.Tenant {
		t.Errorf("swept %+v", got)
	}
	wantGone(t, s, ada)
	wantGone(t, s, bo)
	records := trail(t, s, ada.Tenant, "")
	if len(records) != 3 || records[0].Actor != "retention" || records[1].Actor != "retention" || records[0].Resource == records[1].Resource {
		t.Errorf("trail %+v", records)
	}
	same(t, "of a tenant that keeps everybody", stateOf(t, s, adaToo), before)
	same(t, "swept again", sweep(t, s, q), store.Swept{})
}

// written is when something was last written of a trainee that was just created.
func written(t tb, s store.Store, sc store.Scope) time.Time {
	return snapshot(t, s, sc, day0).Trainee.Created
}

// "for longer than": on the very second the trainee stays. A read is no write.
func sweepKeepsWhoWasWritten(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, s.SetIdleDays(t.Context(), ada.Tenant, 30, act()))
	at := written(t, s, ada)
	same(t, "to the second", sweep(t, s, sweepOf(at.Add(30*day))), store.Swept{})
	headOf(t, s, ada)
	same(t, "a second later", sweep(t, s, sweepOf(at.Add(30*day+time.Second))), store.Swept{Erased: []store.Scope{ada}})
}

// A trainee that is written between being found and being erased stays.
func sweepSparesWhoIsWrittenMeanwhile(t *testing.T, s store.Store) {
	create(t, s, ada)
	must(t, s.SetIdleDays(t.Context(), ada.Tenant, 30, act()))
	at := written(t, s, ada)
	for time.Now().Unix() <= at.Unix() { // the next write is of a later second
		time.Sleep(10 * time.Millisecond)
	}
	q := sweepOf(at.Add(30*day + time.Second))
	asked := 0
	q.Erasure = func(sc store.Scope) store.AuditRecord {
		asked++
		must(t, tryUpdate(t.Context(), s, sc, fill))
		return act()
	}
	same(t, "swept", sweep(t, s, q), store.Swept{})
	same(t, "found", asked, 1)
	same(t, "head", headOf(t, s, ada).Revision, int64(2))
}

// "idempotency records ... made before the times given": a request id that was swept
// is free again, and the write that had it stays.
func sweepOfRequestIDs(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, adaToo)
	for _, sc := range []store.Scope{ada, adaToo} {
		for _, id := range []string{"r1", "r2"} {
			_, err := weigh(t, s, sc, once(id, "h"), 70)
			must(t, err)
		}
	}
	q := sweepOf(time.Now())
	q.RequestIDsBefore = written(t, s, ada)
	same(t, "not older", sweep(t, s, q), store.Swept{})
	_, err := weigh(t, s, ada, once("r1", "other"), 70)
	wantErr(t, "reuse", err, store.ErrReused)
	before := stateOf(t, s, ada)

	q.RequestIDsBefore = time.Now().Add(time.Minute)
	same(t, "older", sweep(t, s, q), store.Swept{RequestIDs: 4})
	same(t, "state", stateOf(t, s, ada), before)
	wantFree(t, s, "r1")
}

// "audit records made before the times given", whoever they are about.
func sweepOfAuditRecords(t *testing.T, s store.Store) {
	create(t, s, ada)
	for _, sc := range []store.Scope{ada, {Tenant: ada.Tenant}, {Tenant: "another"}} {
		for i := range 4 {
			must(t, s.AddAudit(t.Context(), sc, acted("M", i)))
		}
	}
	q := sweepOf(time.Now())
	q.AuditBefore = acted("M", 2).At
	same(t, "swept", sweep(t, s, q), store.Swept{Audit: 6})
	for _, tenant := range []string{ada.Tenant, "another"} {
		for _, r := range trail(t, s, tenant, "") {
			if r.At.Before(q.AuditBefore) {
				t.Errorf("%+v is left", r)
			}
		}
	}
	if n := len(trail(t, s, ada.Tenant, "")) + len(trail(t, s, "another", "")); n != 6 {
		t.Errorf("%d records are left", n)
	}
}

// "up to limit things of a kind, and says whether there may be more".
func sweepIsBounded(t *testing.T, s store.Store) {
	create(t, s, ada)
	for i := range 5 {
		sc := store.Scope{Tenant: []string{"t", "u"}[i%2], Trainee: string(rune('a' + i))}
		create(t, s, sc)
		must(t, s.SetIdleDays(t.Context(), sc.Tenant, 30, acted("M", i)))
		_, err := weigh(t, s, ada, once(string(rune('a'+i)), "h"), 70)
		must(t, err)
	}
	q := sweepOf(time.Now().Add(31 * day))
	q.RequestIDsBefore, q.AuditBefore, q.Limit = time.Now().Add(time.Minute), acted("M", 9).At, 2
	var total store.Swept
	steps := 0
	for more := true; more && steps < 9; steps++ {
		got := sweep(t, s, q)
		if len(got.Erased) > 2 || got.RequestIDs > 2 || got.Audit > 2 {
			t.Fatalf("swept %+v", got)
		}
		total.Erased, total.RequestIDs, total.Audit = append(total.Erased, got.Erased...), total.RequestIDs+got.RequestIDs, total.Audit+got.Audit
		more = got.More
	}
	for i := range 3 { // more of one kind is more
		must(t, s.AddAudit(t.Context(), store.Scope{Tenant: "t"}, acted("M", i)))
	}
	if got := sweep(t, s, q); got.Audit != 2 || !got.More {
		t.Errorf("swept %+v of three", got)
	}
	if len(total.Erased) != 5 || total.RequestIDs != 5 || total.Audit != 5 || steps != 3 {
		t.Errorf("swept %+v in %d steps", total, steps)
	}
}

// "Any number of programs may sweep at once": each thing is removed once.
func sweepsAtOnce(t *testing.T, s store.Store) {
	for i := range 6 {
		create(t, s, store.Scope{Tenant: "t", Trainee: string(rune('a' + i))})
	}
	must(t, s.SetIdleDays(t.Context(), "t", 30, acted("M", 1)))
	results := make(chan store.Swept, 64)
	together(func(int) {
		q := sweepOf(time.Now().Add(31 * day))
		q.AuditBefore = acted("M", 2).At
		got, err := s.Sweep(t.Context(), q)
		if err != nil && !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("sweep: %v", err)
		}
		results <- got
	})
	close(results)
	erased, records := map[store.Scope]int{}, 0
	for got := range results {
		for _, sc := range got.Erased {
			erased[sc]++
		}
		records += got.Audit
	}
	for sc, n := range erased {
		if n != 1 {
			t.Errorf("%v was erased %d times", sc, n)
		}
	}
	if len(erased) != 6 || records != 1 {
		t.Errorf("%d trainees, %d records", len(erased), records)
	}
}
