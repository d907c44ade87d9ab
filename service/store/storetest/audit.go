package storetest

import (
	"errors"
	"slices"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

var audits = []testCase{
	{"RecordKeepsEveryField", recordKeepsEveryField},
	{"WriteAddsItsRecord", writeAddsItsRecord},
	{"FailedWriteAddsNone", failedWriteAddsNone},
	{"LatestFirst", trailLatestFirst},
	{"AboutOneTrainee", trailAboutOneTrainee},
	{"AboutNoSuchTrainee", recordAboutNoSuchTrainee},
	{"GoesWithTheTrainee", trailGoesWithTheTrainee},
	{"LateRecordsNameNobody", lateRecordsNameNobody},
	{"TenantsAreApart", trailsOfTenantsAreApart},
	{"IDsSortByTime", auditIDsSortByTime},
}

// act is an audit record that no test looks at.
func act() store.AuditRecord { return actedAt("Test", time.Now()) }

// acted is one of an invented day, so many seconds after noon.
func acted(method string, seconds int) store.AuditRecord {
	return actedAt(method, time.Date(2026, 3, 2, 12, 0, seconds, 0, time.UTC))
}

func actedAt(method string, at time.Time) store.AuditRecord {
	at = at.UTC().Truncate(time.Millisecond)
	return store.AuditRecord{ID: store.NewAuditID(at), At: at, Actor: "apiKeys/x", Method: method, Resource: "trainees/y"}
}

// trail is the whole trail, of a trainee where one is named.
func trail(t tb, s store.Store, tenant, trainee string) []store.AuditRecord {
	t.Helper()
	got, err := s.AuditTrail(t.Context(), tenant, store.AuditQuery{Trainee: trainee, Limit: 1000})
	must(t, err)
	return got
}

// "UTC, whole milliseconds". The trainee is that of the scope and not of the record.
func recordKeepsEveryField(t *testing.T, s store.Store) {
	create(t, s, ada)
	want := actedAt("ExportTrainee", time.Date(2026, 3, 2, 12, 0, 0, 123e6, time.FixedZone("x", 3600)))
	want.Actor, want.Resource = "subjects/a|b\\0 \u00e4", "trainees/ada/plans/p"
	want.Trainee = "someone else"
	must(t, s.AddAudit(t.Context(), ada, want))
	want.Trainee = ada.Trainee
	got := trail(t, s, ada.Tenant, "")
	same(t, "trail", got, []store.AuditRecord{want})
	if got[0].At.Location() != time.UTC {
		t.Errorf("%v is not in UTC", got[0].At)
	}
}

// "Audit adds a record of this write to the audit trail; the trainee is the write's."
func writeAddsItsRecord(t *testing.T, s store.Store) {
	made, changed := acted("CreateTrainee", 1), acted("CreatePlan", 2)
	_, err := s.Create(t.Context(), ada, store.Once{}, fullTrainee(), func(tx store.Tx) (store.Answer, error) {
		return say(""), tx.Audit(made)
	})
	must(t, err)
	update(t, s, ada, func(tx store.Tx) { must(t, tx.Audit(changed)) })
	made.Trainee, changed.Trainee = ada.Trainee, ada.Trainee
	same(t, "trail", trail(t, s, ada.Tenant, ""), []store.AuditRecord{changed, made})
}

// A write that fails, or that was done before, leaves no record.
func failedWriteAddsNone(t *testing.T, s store.Store) {
	create(t, s, ada)
	err := tryUpdate(t.Context(), s, ada, func(tx store.Tx) error {
		must(t, tx.Audit(act()))
		return errStop
	})
	wantErr(t, "update", err, errStop)
	same(t, "trail", trail(t, s, ada.Tenant, ""), []store.AuditRecord{})
	for range 2 {
		_, err := s.Update(t.Context(), ada, once("r", "h"), func(tx store.Tx) (store.Answer, error) {
			return say(""), tx.Audit(act())
		})
		must(t, err)
	}
	if got := trail(t, s, ada.Tenant, ""); len(got) != 1 {
		t.Errorf("%d records of a write and its replay", len(got))
	}
}

// "up to q.Limit of a tenant's records, the latest first"; "After: id, exclusive;
// empty: from the latest".
func trailLatestFirst(t *testing.T, s store.Store) {
	var want []store.AuditRecord
	for i := range 7 {
		want = append(want, acted("M", i))
	}
	for _, i := range []int{3, 0, 6, 1, 5, 2, 4} { // whenever they were added
		must(t, s.AddAudit(t.Context(), store.Scope{Tenant: "t"}, want[i]))
	}
	slices.Reverse(want)
	for limit := 1; limit <= 8; limit++ {
		var got []store.AuditRecord
		q := store.AuditQuery{Limit: limit}
		for range want {
			page, err := s.AuditTrail(t.Context(), "t", q)
			must(t, err)
			if len(page) > limit {
				t.Fatalf("%d records, limit %d", len(page), limit)
			}
			got = append(got, page...)
			q.After = got[len(got)-1].ID
		}
		same(t, "trail", got, want)
	}
}

// "Trainee: empty: of all, and those about none".
func trailAboutOneTrainee(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	var want []store.AuditRecord
	for i := range 6 {
		sc := []store.Scope{ada, bo, {Tenant: ada.Tenant}}[i%3]
		r := acted("M", i)
		must(t, s.AddAudit(t.Context(), sc, r))
		r.Trainee = sc.Trainee
		want = append([]store.AuditRecord{r}, want...)
	}
	same(t, "all", trail(t, s, ada.Tenant, ""), want)
	same(t, "of one", trail(t, s, ada.Tenant, "bo"), []store.AuditRecord{want[1], want[4]})
	got, err := s.AuditTrail(t.Context(), ada.Tenant, store.AuditQuery{Trainee: "bo", After: want[1].ID, Limit: 9})
	must(t, err)
	same(t, "of one, after", got, []store.AuditRecord{want[4]})
	same(t, "of nobody", trail(t, s, ada.Tenant, "nobody"), []store.AuditRecord{})
}

// "ErrNotFound when the scope has a trainee and there is no such one."
func recordAboutNoSuchTrainee(t *testing.T, s store.Store) {
	create(t, s, adaToo)
	wantErr(t, "add", s.AddAudit(t.Context(), ada, act()), store.ErrNotFound)
	same(t, "trail", trail(t, s, ada.Tenant, ""), []store.AuditRecord{})
}

// "Erase removes ... audit records, and keys bound to it included. It adds one audit
// record, which must not name the trainee." A failed one adds none.
func trailGoesWithTheTrainee(t *testing.T, s store.Store) {
	create(t, s, ada)
	create(t, s, bo)
	must(t, s.AddAudit(t.Context(), ada, acted("M", 1)))
	kept := acted("M", 2)
	must(t, s.AddAudit(t.Context(), bo, kept))
	kept.Trainee = bo.Trainee
	must(t, s.PutKey(t.Context(), bound("k", 1), acted("M", 3)))
	must(t, s.PutKey(t.Context(), key("plain", ada.Tenant, 1), acted("M", 4)))
	erasure := acted("EraseTrainee", 5)
	_, err := s.Erase(t.Context(), ada, erasure)
	must(t, err)
	same(t, "of the erased", trail(t, s, ada.Tenant, ada.Trainee), []store.AuditRecord{})
	if got := trail(t, s, ada.Tenant, ""); len(got) != 3 || got[0] != erasure || got[2] != kept {
		t.Errorf("trail %+v", got)
	}
	_, err = s.Key(t.Context(), "k")
	wantErr(t, "bound key", err, store.ErrNotFound)
	_, err = s.Key(t.Context(), "plain")
	must(t, err)
	_, err = s.Erase(t.Context(), ada, acted("EraseTrainee", 6))
	wantErr(t, "erase again", err, store.ErrNotFound)
	if got := trail(t, s, ada.Tenant, ""); got[0] != erasure {
		t.Errorf("an erasure of nobody is on the trail: %+v", got[0])
	}
	create(t, s, ada)
	same(t, "of the next of that id", trail(t, s, ada.Tenant, ada.Trainee), []store.AuditRecord{})
}

// "nothing may name a trainee after its erasure": records, keys and rotations that
// come at the same time either go with it or fail.
func lateRecordsNameNobody(t *testing.T, s store.Store) {
	for round := range 4 {
		create(t, s, ada)
		id := func(i int) string { return string(rune('a'+round)) + string(rune('a'+i)) }
		must(t, s.PutKey(t.Context(), bound(id(25), 0), act()))
		late := func(i int) error {
			switch i % 3 {
			case 0:
				return s.AddAudit(t.Context(), ada, act())
			case 1:
				return s.PutKey(t.Context(), bound(id(i), 1), act())
			}
			return s.RotateKey(t.Context(), id(25), time.Now().Add(time.Hour), bound(id(i), 1), act())
		}
		together(func(i int) {
			if i == callers/2 {
				if _, err := s.Erase(t.Context(), ada, act()); err != nil {
					t.Errorf("erase: %v", err)
				}
			} else if err := late(i); err != nil && !errors.Is(err, store.ErrNotFound) {
				t.Errorf("late: %v", err)
			}
		})
		same(t, "trail of the erased", trail(t, s, ada.Tenant, ada.Trainee), []store.AuditRecord{})
		keys, err := s.ListKeys(t.Context(), ada.Tenant, "", 100)
		must(t, err)
		same(t, "keys of the erased", keys, []store.Key{})
	}
}

func trailsOfTenantsAreApart(t *testing.T, s store.Store) {
	r := acted("M", 1)
	must(t, s.AddAudit(t.Context(), store.Scope{Tenant: "a"}, r))
	must(t, s.AddAudit(t.Context(), store.Scope{Tenant: "b"}, r)) // the same id is no conflict
	same(t, "trail", trail(t, s, "a", ""), []store.AuditRecord{r})
	same(t, "trail", trail(t, s, "c", ""), []store.AuditRecord{})
}

// "of 26 characters, which sort by time".
func auditIDsSortByTime(t *testing.T, _ store.Store) {
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	var ids []string
	for i := range 2000 {
		ids = append(ids, store.NewAuditID(at.Add(time.Duration(i*i)*time.Millisecond)))
	}
	if !slices.IsSorted(ids) || len(slices.Compact(slices.Clone(ids))) != len(ids) || len(ids[0]) != 26 {
		t.Error("ids do not sort by time, or are of another length")
	}
	for range 100 {
		first := store.FirstAuditID(at)
		if store.NewAuditID(at) < first || store.NewAuditID(at.Add(-time.Millisecond)) >= first {
			t.Fatal("the first id of a millisecond is not between its ids and those before")
		}
	}
}
