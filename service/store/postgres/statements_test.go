//go:build unix

package postgres

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.com/steelyard/service/store/postgres/pgtest"
)

// statements are all that the store asks of a trainee's or a tenant's data.
var statements = map[string]string{
	"selectHead": selectHead, "selectHeads": selectHeads,
	"selectTrainee": selectTrainee, "insertTrainee": insertTrainee, "updateTrainee": updateTrainee, "lockIdle": lockIdle,
	"deleteEntries": deleteEntries, "deleteRollups": deleteRollups, "deletePlans": deletePlans, "deleteDecisions": deleteDecisions, "deleteTrainee": deleteTrainee,
	"bumpHead": bumpHead, "selectOnce": selectOnce, "insertOnce": insertOnce,
	"selectUpload": selectUpload, "upsertUpload": upsertUpload,
	"selectKey": selectKey, "selectKeyCreated": selectKeyCreated, "selectKeys": selectKeys, "selectKeyOf": selectKeyOf,
	"insertKey": insertKey, "endKey": endKey, "revokeKey": revokeKey, "useKeys": useKeys,
	"insertAudit": insertAudit, "selectAudit": selectAudit, "selectAuditOf": selectAuditOf, "deleteOldAudit": deleteOldAudit,
	"insertTenant": insertTenant, "selectIdleDays": selectIdleDays, "upsertIdleDays": upsertIdleDays, "selectTenants": selectTenants,
	"selectIdleTrainees": selectIdleTrainees, "deleteOldOnces": deleteOldOnces,
	"selectPlan": selectPlan, "selectPlans": selectPlans, "selectOpenPlan": selectOpenPlan, "insertPlan": insertPlan, "updatePlan": updatePlan,
	"selectDecisionsOfPlans": selectDecisionsOfPlans, "selectDecisionsOfOpenPlan": selectDecisionsOfOpenPlan,
	"selectDecisionsBySeq": selectDecisionsBySeq, "selectDecisionSeq": selectDecisionSeq, "insertDecision": insertDecision,
	"selectEntries": selectEntries, "selectEntriesBetween": selectEntriesBetween, "selectEntriesOfDays": selectEntriesOfDays,
	"insertEntries": insertEntries, "updateEntries": updateEntries, "deleteEntry": deleteEntry,
	"selectRollups": selectRollups, "insertRollups": insertRollups, "updateRollups": updateRollups, "selectBlocks": selectBlocks, "deleteRollup": deleteRollup,
	"selectDueTalks": selectDueTalks, "selectDueOf": selectDueOf, "selectDueDays": selectDueDays,
	"deleteDueOf": deleteDueOf, "insertDue": insertDue,
	"markStale": markStale, "selectStale": selectStale, "selectStaleOf": selectStaleOf, "lockStale": lockStale, "lockStaleIfFree": lockStaleIfFree, "deleteStale": deleteStale,
}

// tenantless are about nobody's data, or find out whose it is.
var tenantless = []string{"setTenant", "setKey", "setUpkeep", "setLockTimeout", "markRestored", "mayPause", "selectPromises", "selectVersion", "selectRollupRules", "selectGrantable", "selectKey", "selectStale", "insertKey", "useKeys", "selectTenants"}

// Every statement of the source is known to these tests.
func TestEveryStatementIsListed(t *testing.T) {
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	starts := regexp.MustCompile("^`(SELECT|INSERT|UPDATE|DELETE) ")
	found := 0
	look := func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		first := spec.Values[0]
		for {
			sum, ok := first.(*ast.BinaryExpr)
			if !ok {
				break
			}
			first = sum.X
		}
		name := spec.Names[0].Name
		text, literal := first.(*ast.BasicLit)
		if !literal || !starts.MatchString(text.Value) {
			return true
		}
		found++
		if _, ok := statements[name]; !ok && !slices.Contains(tenantless, name) {
			t.Errorf("%s is in no list", name)
		}
		return true
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, look)
	}
	if found < 40 {
		t.Errorf("only %d statements found", found)
	}
}

// Every statement is bound to a tenant, and to a trainee unless it is about keys,
// the audit trail or what is over, or lists who of a tenant is due a talk. The policies are the second line.
func TestEveryStatementBindsItsScope(t *testing.T) {
	bound := regexp.MustCompile(`(?s)tenant = \$1 AND (\w+\.)?trainee = (ANY \()?\$2|^INSERT INTO \w+ \(tenant, trainee, .*(VALUES \(\$1, \$2, |SELECT \$1, \$2, )|^INSERT INTO due_stale \(tenant, trainee\) VALUES \(\$1, \$2\)|FROM heads\(\$1, \$2, \$3\)`)
	ofTenant := []string{
		"selectKeyCreated", "selectKeys", "selectKeyOf", "endKey", "revokeKey", "selectDueTalks", "selectStaleOf",
		"insertAudit", "selectAudit", "selectAuditOf", "deleteOldAudit", "deleteOldOnces",
		"insertTenant", "selectIdleDays", "upsertIdleDays", "selectIdleTrainees",
	}
	for name, q := range statements {
		switch {
		case slices.Contains(tenantless, name):
		case slices.Contains(ofTenant, name):
			if !regexp.MustCompile(`WHERE tenant = \$1( |$)|^INSERT INTO \w+ \(tenant\b.* VALUES \(\$1`).MatchString(q) {
				t.Errorf("%s is not bound to a tenant: %s", name, q)
			}
		case !bound.MatchString(q):
			t.Errorf("%s is not bound: %s", name, q)
		}
	}
}

// No statement walks a whole table, however large the tables are, as the role that
// serves and under its policies, which keep some conditions out of an index. The
// plan is the one for any parameters.
func TestNoStatementScans(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	super := outside(t, s, pgtest.Super)
	for _, q := range []string{
		`INSERT INTO trainee SELECT 'gym-' || i % 20, 't' || i / 20, 'x', 1, '', 'UTC', '{}', 0, 0, 0 FROM generate_series(0, 19999) i`,
		`INSERT INTO entry SELECT tenant, trainee, d, 1, '1', '', '{}' FROM trainee, generate_series(1, 4) d`,
		`INSERT INTO day_rollup SELECT tenant, trainee, d, '\x01' FROM trainee, generate_series(1, 4) d`,
		`INSERT INTO plan SELECT tenant, trainee, 'p' || i, i, '{}', 0, 0 FROM trainee, generate_series(0, 1) i`,
		`INSERT INTO decision SELECT tenant, trainee, id, d, d, 1, 1, 0, 0, 0, 0, '', '', NULL, 0 FROM plan, generate_series(1, 2) d`,
		`INSERT INTO due_talk SELECT tenant, trainee, 1, 1, 100 + revision, NULL, 'p0', '' FROM trainee`,
		`INSERT INTO once SELECT tenant, trainee, 'm', i, 'h', '', 0 FROM trainee, generate_series(1, 2) i`,
		`INSERT INTO upload SELECT tenant, trainee, 'u', '', 0, 0 FROM trainee`,
		`INSERT INTO api_key SELECT 'k' || i, 'gym-' || i % 20, '', '', '[]', i, NULL, NULL FROM generate_series(1, 20000) i`,
		`INSERT INTO audit SELECT tenant, revision || trainee, trainee, 0, '', '', '' FROM trainee`,
		`INSERT INTO tenant SELECT DISTINCT tenant FROM trainee`,
		`INSERT INTO due_stale SELECT tenant, trainee FROM trainee`,
		`ANALYZE`,
	} {
		run(t, super, q)
	}
	db := outside(t, s, pgtest.Runtime)
	run(t, db, `SET plan_cache_mode = force_generic_plan`)
	for name, q := range statements {
		if name == "selectHeads" || name == "selectStale" || name == "insertKey" || // a function; any rows will do; a row that is given
			name == "selectTenants" || name == "selectIdleDays" { // a tenant is one short row
			continue
		}
		sd, err := db.Prepare(t.Context(), name, q)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		values := make([]string, len(sd.ParamOIDs))
		for i, oid := range sd.ParamOIDs {
			values[i] = someValue(oid)
		}
		found, err := db.Query(t.Context(), `EXPLAIN EXECUTE `+pgx.Identifier{name}.Sanitize()+"("+strings.Join(values, ", ")+")", pgx.QueryExecModeExec)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		lines, err := pgx.CollectRows(found, pgx.RowTo[string])
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		plan := strings.Join(lines, "\n")
		if strings.Contains(plan, "Seq Scan") {
			t.Errorf("%s:\n%s", name, plan)
		}
		for _, want := range map[string][]string{
			"selectEntries":  {`AND (ROW(day, kind, key) > ROW($3, $4, $5)) AND (day <= $6))`},
			"selectDueTalks": {`AND (ROW(from_day, trainee, seq) > ROW($2, $3, $4)) AND (from_day <= $5))`},
		}[name] {
			if !strings.Contains(plan, want) {
				t.Errorf("%s lacks %s:\n%s", name, want, plan)
			}
		}
		// A plan has few decisions, a tenant has few keys, and few trainees were just written.
		few := strings.HasPrefix(name, "selectDecisions") || name == "selectKeys" || name == "selectStaleOf"
		if strings.Contains(plan, "Sort  (") && !few {
			t.Errorf("%s sorts:\n%s", name, plan)
		}
	}
}

// someValue is a value of a type.
func someValue(oid uint32) string {
	switch oid {
	case pgtype.TextOID:
		return `'gym-1'`
	case pgtype.ByteaOID:
		return `''`
	case pgtype.Int2OID, pgtype.Int4OID, pgtype.Int8OID, pgtype.Float8OID:
		return `1`
	}
	return `'{}'` // an array
}
