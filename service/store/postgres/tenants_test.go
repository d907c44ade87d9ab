//go:build unix

package postgres

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// canary is a text that is in every part of a log and nowhere else.
const canary = "yellow-bird-7219"

// fillAll makes a trainee and writes something of it into each table. Nothing is
// derived by itself after it.
func fillAll(t testing.TB, s *Store, sc store.Scope) {
	t.Helper()
	stopRenewing(s)
	once := store.Once{Method: "/m", RequestID: canary, BodyHash: canary}
	_, err := s.Create(t.Context(), sc, once, store.Trainee{DisplayName: canary}, func(tx store.Tx) (store.Answer, error) {
		entries := []engine.Entry{
			{Day: 1, Key: canary, Note: canary, Fact: engine.PhotoSet{Reference: canary}},
			weighIn(1, 70), weighIn(2, 70.5),
		}
		if err := tx.PutEntries(entries); err != nil {
			return nil, err
		}
		plan := engine.DefaultPlan(1)
		plan.ID = "cut"
		if _, err := tx.InsertPlan(plan); err != nil {
			return nil, err
		}
		if _, err := tx.InsertDecision("cut", engine.Decision{ID: canary, By: canary}, []byte(canary)); err != nil {
			return nil, err
		}
		if err := tx.Audit(act()); err != nil {
			return nil, err
		}
		return func(store.Head) ([]byte, error) { return []byte(canary), nil }, tx.PutUpload(store.Upload{ID: canary, SHA256: canary})
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.PutKey(t.Context(), store.Key{ID: "k-" + sc.Tenant + sc.Trainee, Tenant: sc.Tenant, Trainee: sc.Trainee, Hash: []byte{1}}, act()); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DueTalks(t.Context(), sc.Tenant, store.DueQuery{Limit: 1}); err != nil { // they are derived
		t.Fatal(err)
	}
	run(t, outside(t, s, pgtest.Super), `INSERT INTO due_stale SELECT tenant, trainee FROM trainee ON CONFLICT DO NOTHING`) // as a migration does
}

// Every table with a tenant, partitions too, has the policies switched on for
// everybody, its owner included, and one that says whose rows may be read and
// written. Each key of such a table leads with tenant and trainee.
func TestCatalogue(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	db := outside(t, s, pgtest.Super)
	tables := tenantTables(t, s, true)
	if want := 16 + len(tenantTables(t, s, false)); len(tables) != want {
		t.Errorf("%d tables, want %d with 16 partitions", len(tables), want)
	}
	const mine = `(tenant = NULLIF(current_setting('steelyard.tenant'::text, true), ''::text))`
	const mineOnce = `(tenant = ( SELECT NULLIF(current_setting('steelyard.tenant'::text, true), ''::text) AS "nullif"))`
	for _, table := range tables {
		var enabled, forced bool
		var using, check string
		err := db.QueryRow(t.Context(), `SELECT c.relrowsecurity, c.relforcerowsecurity, pg_get_expr(p.polqual, c.oid), pg_get_expr(p.polwithcheck, c.oid)
FROM pg_class c JOIN pg_policy p ON p.polrelid = c.oid WHERE c.oid = $1::text::regclass AND p.polname = 'of_tenant' AND p.polcmd = '*' AND p.polroles = '{0}'`,
			table).Scan(&enabled, &forced, &using, &check)
		if err != nil || !enabled || !forced || using != mine || check != mine && check != mineOnce {
			t.Errorf("%s: enabled %t, forced %t, using %s, with check %s, %v", table, enabled, forced, using, check, err)
		}
		first := "{tenant,trainee}"
		switch table {
		case "api_key":
			continue // an id is unique over all tenants
		case "audit", "tenant":
			first = "{tenant}" // a tenant's, whoever they are about
		}
		if n := count(t, db, `SELECT count(*) FROM pg_index WHERE indrelid = $1::text::regclass AND indisunique AND NOT (SELECT array_agg(a.attname ORDER BY k.place)::text[] FROM unnest(indkey[0:$3::integer]) WITH ORDINALITY k (num, place)
JOIN pg_attribute a ON a.attrelid = indrelid AND a.attnum = k.num) = $2::text[]`, table, first, strings.Count(first, ",")); n != 0 {
			t.Errorf("%s: %d keys lead with something else", table, n)
		}
	}
	// Beside these there are the three that are documented, and they only read.
	if n := count(t, db, `SELECT count(*) FROM pg_policy WHERE polname <> 'of_tenant'`); n != 3 {
		t.Errorf("%d other policies", n)
	}
	if n := count(t, db, `SELECT count(*) FROM pg_policy WHERE polname <> 'of_tenant' AND polcmd <> 'r'`); n != 0 {
		t.Errorf("%d other policies write", n)
	}
	if n := count(t, db, `SELECT count(*) FROM pg_proc WHERE pronamespace = 'steelyard'::regnamespace AND prosecdef`); n != 0 {
		t.Errorf("%d functions run with rights of another than their caller", n)
	}
}

func TestRuntimeRoleHasNoPowers(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	db := outside(t, s, pgtest.Super)
	if n := count(t, db, `SELECT count(*) FROM pg_roles WHERE rolname = $1 AND NOT (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb)`, pgtest.Runtime); n != 1 {
		t.Error("the role has powers")
	}
	if n := count(t, db, `SELECT count(*) FROM pg_class WHERE relnamespace = 'steelyard'::regnamespace AND pg_has_role($1, relowner, 'MEMBER')`, pgtest.Runtime); n != 0 {
		t.Errorf("it owns %d tables", n)
	}
	runtime := outside(t, s, pgtest.Runtime)
	for _, q := range []string{
		`SELECT * FROM entry_0`, `INSERT INTO entry_0 VALUES ('a', 'b', 1, 1, '', '', '')`, `TRUNCATE trainee`, `CREATE TABLE x (a int)`,
		`ALTER TABLE trainee DISABLE ROW LEVEL SECURITY`, `DELETE FROM schema_version`, `SET ROLE ` + pgtest.Owner,
		`SET session_replication_role = replica`,
	} {
		if _, err := runtime.Exec(t.Context(), q); code(err) != insufficientPrivilege {
			t.Errorf("%s: %v", q, err)
		}
	}
}

// COPY FROM knows no policies and so refuses whom they concern: that is why a batch
// is stored by INSERT, which measures as fast.
func TestCopyIsRefused(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	db := outside(t, s, pgtest.Runtime)
	_, err := db.CopyFrom(t.Context(), pgx.Identifier{"entry"}, []string{"tenant", "trainee", "day", "kind", "key", "note", "fact"},
		pgx.CopyFromRows([][]any{{"north-gym", "ada", int32(1), int16(1), "1", "", "{}"}}))
	if code(err) != "0A000" {
		t.Errorf("copy: %v", err)
	}
}

// The policies alone keep tenants apart: a statement that forgets its tenant, run as
// the role that serves, sees and touches the rows of the tenant that was named and
// no others, and nothing at all when none was. So it is for the owner.
func TestPoliciesAloneHold(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	fillAll(t, s, ada)
	fillAll(t, s, adaToo)
	super := outside(t, s, pgtest.Super)
	for _, role := range []string{pgtest.Runtime, pgtest.Owner} {
		db := outside(t, s, role)
		in := func(tenant string, f func(pgx.Tx)) {
			tx, err := db.Begin(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			defer tx.Rollback(t.Context())
			if tenant != "-" {
				if _, err := tx.Exec(t.Context(), setTenant, tenant, "0"); err != nil {
					t.Fatal(err)
				}
			}
			f(tx)
		}
		see := func(tenant, table string, want int) {
			t.Helper()
			in(tenant, func(tx pgx.Tx) {
				var n, foreign int
				err := tx.QueryRow(t.Context(), `SELECT count(*), count(*) FILTER (WHERE tenant <> $1) FROM `+table, tenant).Scan(&n, &foreign)
				if err != nil || n != want || foreign != 0 {
					t.Errorf("%s sees %d of %s as %q, %d foreign (%v); want %d", role, n, table, tenant, foreign, err, want)
				}
			})
		}
		for _, table := range tenantTables(t, s, false) {
			all := count(t, super, `SELECT count(*) FROM `+table)
			if all == 0 || all%2 != 0 {
				t.Fatalf("%d rows in %s", all, table)
			}
			see("-", table, 0) // before any transaction named one, the setting is NULL
			see(ada.Tenant, table, all/2)
			see("-", table, 0) // after one, it is empty
			see("", table, 0)
			see("no-such-tenant", table, 0)
			see(adaToo.Tenant, table, all/2)
			in(ada.Tenant, func(tx pgx.Tx) {
				tag, err := tx.Exec(t.Context(), `UPDATE `+table+` SET tenant = tenant`)
				if err != nil || int(tag.RowsAffected()) != all/2 {
					t.Errorf("%s updates %d of %s, %v", role, tag.RowsAffected(), table, err)
				}
				if _, err := tx.Exec(t.Context(), `SAVEPOINT a`); err != nil {
					t.Fatal(err)
				}
				if _, err := tx.Exec(t.Context(), `UPDATE `+table+` SET tenant = 'south-gym'`); code(err) != insufficientPrivilege {
					t.Errorf("%s gives rows of %s away: %v", role, table, err)
				}
				if _, err := tx.Exec(t.Context(), `ROLLBACK TO a`); err != nil {
					t.Fatal(err)
				}
				tag, err = tx.Exec(t.Context(), `DELETE FROM `+table)
				if err != nil || int(tag.RowsAffected()) > all/2 {
					t.Errorf("%s deletes %d of %s, %v", role, tag.RowsAffected(), table, err)
				}
			})
		}
		in(ada.Tenant, func(tx pgx.Tx) {
			_, err := tx.Exec(t.Context(), `INSERT INTO upload VALUES ('south-gym', 'ada', 'x', '', 0, 0)`)
			if code(err) != insufficientPrivilege {
				t.Errorf("%s inserts a row of another tenant: %v", role, err)
			}
		})
	}
}

// The ways past the tenant show one key, who is left to do, and which tenants there are.
func TestNarrowPolicies(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	fillAll(t, s, ada)
	fillAll(t, s, adaToo)
	db := outside(t, s, pgtest.Runtime)
	tx, err := db.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(t.Context())
	if _, err := tx.Exec(t.Context(), setKey, "k-north-gymada", "0"); err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), setUpkeep); err != nil {
		t.Fatal(err)
	}
	for _, table := range tenantTables(t, s, false) {
		want := map[string]int{"api_key": 1, "due_stale": 2, "tenant": 2}[table]
		if n := count(t, db, `SELECT count(*) FROM `+table); n != want {
			t.Errorf("%d rows of %s, want %d", n, table, want)
		}
	}
	for _, q := range []string{`DELETE FROM api_key`, `UPDATE api_key SET revoked = 1`, `DELETE FROM due_stale`, `UPDATE tenant SET idle_days = 30`} {
		if tag, err := tx.Exec(t.Context(), q); err != nil || tag.RowsAffected() != 0 {
			t.Errorf("%s: %s, %v", q, tag, err)
		}
	}
}

// An erasure leaves no row in any table that a trainee's data may be in, whatever
// tables there are, and takes nothing of others.
func TestErasureLeavesNothing(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	fillAll(t, s, ada)
	fillAll(t, s, bo)
	db := outside(t, s, pgtest.Super)
	before := map[string]int{}
	for _, table := range tenantTables(t, s, false) {
		if before[table] = count(t, db, `SELECT count(*) FROM `+table); before[table] == 0 {
			t.Errorf("%s is empty before the erasure", table)
		}
	}
	if _, err := s.Erase(t.Context(), ada, act()); err != nil {
		t.Fatal(err)
	}
	for table, n := range before {
		want := n / 2
		switch table {
		case "tenant":
			continue
		case "audit":
			want++ // that there was an erasure
		}
		if left := count(t, db, `SELECT count(*) FROM `+table); left != want {
			t.Errorf("%s: %d of %d rows after the erasure", table, left, n)
		}
		if left := count(t, db, `SELECT count(*) FROM `+table+` WHERE trainee = 'ada'`); left != 0 {
			t.Errorf("%s: %d rows left", table, left)
		}
	}
}

// One connection serves tenants in turn, through errors and rollbacks: what one
// transaction has named is gone with it, however it ended.
func TestOneConnectionForAllTenants(t *testing.T) {
	needServer(t)
	s := open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template))+"&pool_max_conns=1")
	defer s.Close()
	var scopes []store.Scope
	for i := range 5 {
		sc := store.Scope{Tenant: fmt.Sprint("gym-", i), Trainee: "ada"}
		create(t, s, sc)
		mustPut(t, s, sc, store.Once{}, []engine.Entry{weighIn(1, float64(50+i))})
		scopes = append(scopes, sc)
	}
	stop := errors.New("stop")
	for n := range 400 {
		i := n * 7 % len(scopes)
		sc := scopes[i]
		switch n % 6 {
		case 0: // an error of the callback
			if err := s.View(t.Context(), sc, func(store.View) error { return stop }); !errors.Is(err, stop) {
				t.Fatal(err)
			}
		case 1: // an error of the server, which ends the transaction
			_, err := s.Update(t.Context(), sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				return noAnswer, tx.PutUpload(store.Upload{ID: "\x00"})
			})
			if err == nil {
				t.Fatal("a zero byte was stored")
			}
		case 2: // a rollback of a write
			_, err := s.Update(t.Context(), sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				if err := tx.PutEntries([]engine.Entry{weighIn(1, 1)}); err != nil {
					return nil, err
				}
				return nil, stop
			})
			if !errors.Is(err, stop) {
				t.Fatal(err)
			}
		case 3: // a panic
			func() {
				defer func() { _ = recover() }()
				_ = s.View(t.Context(), sc, func(store.View) error { panic(stop) })
			}()
		case 4: // one that does not exist
			if _, err := s.Head(t.Context(), store.Scope{Tenant: sc.Tenant, Trainee: "nobody"}); !errors.Is(err, store.ErrNotFound) {
				t.Fatal(err)
			}
		case 5: // many at once
			got, err := s.Heads(t.Context(), scopes)
			if err != nil || slices.ContainsFunc(got, func(r windowHead) bool { return !r.Found || r.Head.Revision != 2 }) {
				t.Fatalf("%v, %v", got, err)
			}
		}
		// No setting is left over: on the same connection, without a name, nothing.
		c, err := s.acquire(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var left int
		err = c.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM trainee) + (SELECT count(*) FROM entry)`).Scan(&left)
		c.Release()
		if err != nil || left != 0 {
			t.Fatalf("after %d: %d rows without a tenant, %v", n, left, err)
		}
		snap, err := s.Snapshot(t.Context(), sc, 1)
		if err != nil || snap.Head.Revision != 2 || snap.Window.Days[0].WeightKg != engine.Some(float64(50+i)) {
			t.Fatalf("after %d: %+v, %v", n, snap, err)
		}
	}
	if n := s.pool.Stat().NewConnsCount(); n != 1 {
		t.Errorf("%d connections were made for that", n)
	}
}

// Free texts hold what they are given, zero bytes too; ids that no row can hold
// are like ids that no row has.
func TestZeroBytes(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	text := "a\x00b\\0c\\\\"
	entry := engine.Entry{Day: 1, Key: "1", Note: text, Fact: engine.PhotoSet{Reference: text}}
	_, err := s.Create(t.Context(), ada, store.Once{}, store.Trainee{DisplayName: text}, func(tx store.Tx) (store.Answer, error) {
		if _, err := tx.InsertPlan(engine.Plan{ID: "p"}); err != nil {
			return nil, err
		}
		if _, err := tx.InsertDecision("p", engine.Decision{ID: "d", By: text, Note: text}, []byte(text)); err != nil {
			return nil, err
		}
		return noAnswer, tx.PutEntries([]engine.Entry{entry})
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.PutKey(t.Context(), store.Key{ID: "k", Tenant: "t", Name: text, Hash: []byte{0}}, act()); err != nil {
		t.Fatal(err)
	}
	if k, err := s.Key(t.Context(), "k"); err != nil || k.Name != text {
		t.Errorf("key %+v, %v", k, err)
	}
	err = s.View(t.Context(), ada, func(v store.View) error {
		if trainee, err := v.Trainee(); err != nil || trainee.DisplayName != text {
			t.Errorf("name %q, %v", trainee.DisplayName, err)
		}
		got, err := v.Entries(store.EntryQuery{To: 9, Limit: 9})
		if len(got) != 1 || got[0] != entry {
			t.Errorf("entries %+v", got)
		}
		d, decisionErr := v.Decisions("p", "", 9)
		if len(d) != 1 || d[0].By != text || d[0].Note != text || string(d[0].Given) != text {
			t.Errorf("decisions %+v", d)
		}
		return errors.Join(err, decisionErr)
	})
	if err != nil {
		t.Error(err)
	}
	for _, id := range []string{"\x00", "\xff", strings.Repeat("x", 1<<20)} {
		if _, err := s.Head(t.Context(), store.Scope{Tenant: id, Trainee: id}); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("head: %v", err)
		}
		if _, err := s.Key(t.Context(), id); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("key: %v", err)
		}
	}
}
