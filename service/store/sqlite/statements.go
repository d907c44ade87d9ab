package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"strings"

	"example.com/steelyard/service/store"
)

// statements are prepared when the file is opened, by their text: a query with
// a mistake fails Open, never a request.
type statements map[string]*sql.Stmt

// readQueries run on both handles: a write transaction reads too.
var readQueries = []string{
	selectTables, selectHead, selectTrainee,
	selectEntries, selectEntriesOfDays, selectRollups, selectRollupsBetween,
	selectPlan, selectPlans, selectOpenPlan, selectDecisionsByDay, selectDecisionsBySeq, selectDecisionSeq,
	selectUpload, selectKey, selectKeyCreated, selectKeys,
	selectDueTalks, selectDueState, selectDueDays, selectStale, selectStaleOf, selectTraineesAfter,
	selectAudit, selectAuditOf, selectIdleDays, selectRetention, selectIdleTrainees,
}

// writeQueries run on the writer only.
var writeQueries = slices.Concat(
	[]string{
		bumpHead, raiseHead, insertTrainee, updateTrainee,
		selectOnce, insertOnce,
		deleteEntry, deleteRollup,
		insertPlan, updatePlan, insertDecision,
		upsertUpload, insertKey, endKey, revokeKey, useKey,
		insertAudit, upsertRetention, selectIdle, deleteOldOnces, deleteOldAudit,
		deleteDueOf, markDerived, selectRollupRules, deleteRollups,
		savepoint, rollbackToIt, releaseIt,
		deleteEntries, deleteDecisions, deletePlans, deleteTrainee,
	},
	upsertEntries.sql[:], upsertRollups.sql[:], insertDue.sql[:],
)

const selectTables = `SELECT count(*) FROM sqlite_schema`

func prepare(ctx context.Context, db *sql.DB, queries []string) (statements, error) {
	out := make(statements, len(queries))
	for _, q := range queries {
		st, err := db.PrepareContext(ctx, q)
		if err != nil {
			return nil, fail(ctx, "prepare "+q, err)
		}
		out[q] = st
	}
	return out, nil
}

// conn runs prepared statements inside one transaction.
type conn struct {
	ctx   context.Context
	tx    *sql.Tx
	stmts statements
}

// during is the context that a statement of a caller's context runs in. Each is
// short, so once begun it runs to its end: to be ready to interrupt it costs two
// goroutines, and interrupted it would take down the other writes of its transaction.
func during(ctx context.Context) context.Context {
	if ctx.Err() == nil {
		return context.WithoutCancel(ctx)
	}
	return ctx
}

// exec runs a query and returns how many rows it changed.
func (c conn) exec(query string, args ...any) (int64, error) {
	ctx := during(c.ctx)
	res, err := c.tx.StmtContext(ctx, c.stmts[query]).ExecContext(ctx, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// change runs a query that is about one row, and gives sql.ErrNoRows when there is none.
func (c conn) change(query string, args ...any) error {
	n, err := c.exec(query, args...)
	if err == nil && n == 0 {
		return sql.ErrNoRows
	}
	return err
}

// row reads one row.
func (c conn) row(query string, args ...any) *sql.Row {
	ctx := during(c.ctx)
	return c.tx.StmtContext(ctx, c.stmts[query]).QueryRowContext(ctx, args...)
}

// each calls scan for every row in order.
func (c conn) each(scan func(*sql.Rows) error, query string, args ...any) error {
	ctx := during(c.ctx)
	rows, err := c.tx.StmtContext(ctx, c.stmts[query]).QueryContext(ctx, args...)
	return eachRow(rows, err, scan)
}

func eachRow(rows *sql.Rows, err error, scan func(*sql.Rows) error) error {
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// bulk is one upsert into a table that leads with tenant and trainee, for several
// numbers of rows: a statement for 64 rows costs far less than 64 statements, and
// a few sizes fit any count. All rows share the scope's two parameters.
type bulk struct {
	width int // parameters a row, besides the scope
	sql   [3]string
}

var bulkSizes = [3]int{64, 8, 1}

func newBulk(into string, width int, onConflict string) bulk {
	row := "(?1, ?2" + strings.Repeat(", ?", width) + ")"
	b := bulk{width: width}
	for i, n := range bulkSizes {
		b.sql[i] = into + " VALUES " + row + strings.Repeat(", "+row, n-1) + " " + onConflict
	}
	return b
}

// put runs b for as many rows as args holds.
func (c conn) put(b bulk, sc store.Scope, args []any) error {
	given := make([]any, 0, 2+min(len(args), bulkSizes[0]*b.width))
	for i, n := range bulkSizes {
		for step := n * b.width; len(args) >= step; args = args[step:] {
			given = append(append(given[:0], sc.Tenant, sc.Trainee), args[:step]...)
			if _, err := c.exec(b.sql[i], given...); err != nil {
				return err
			}
		}
	}
	return nil
}
