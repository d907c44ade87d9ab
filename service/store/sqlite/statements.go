package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"strings"
)

// statements are prepared when the file is opened, by their text: a query with
// a mistake fails Open, never a request.
type statements map[string]*sql.Stmt

// readQueries run on both handles: a write transaction reads too.
var readQueries = []string{
	selectTables, selectHead, selectTrainee,
	selectEntries, selectEntriesOfDays, selectRollups,
	selectPlan, selectPlans, selectOpenPlan, selectDecisionsByDay, selectDecisionsBySeq, selectDecisionSeq,
	selectUpload, selectKey, selectKeyCreated, selectKeys, selectDueTalks,
	selectAudit, selectAuditOf, selectIdleDays, selectRetention, selectIdleTrainees,
}

// writeQueries run on the writer only.
var writeQueries = slices.Concat(
	[]string{
		bumpHead, insertTrainee, updateTrainee,
		selectOnce, insertOnce,
		deleteEntry, deleteRollup,
		insertPlan, updatePlan, insertDecision,
		upsertUpload, insertKey, endKey, revokeKey, useKey,
		insertAudit, upsertRetention, selectIdle, deleteOldOnces, deleteOldAudit,
		selectDueState, selectDueDays, selectFirstReadings, deleteDueOf, selectStale, deleteStale,
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
	// isShared says that other writes are in the transaction too. A statement that
	// is interrupted would take them down with it, so once begun it runs to its end.
	isShared bool
}

// during is the context that a statement runs in.
func (c conn) during() context.Context {
	if c.isShared && c.ctx.Err() == nil {
		return context.WithoutCancel(c.ctx)
	}
	return c.ctx
}

// exec runs a query and returns how many rows it changed.
func (c conn) exec(query string, args ...any) (int64, error) {
	ctx := c.during()
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
	ctx := c.during()
	return c.tx.StmtContext(ctx, c.stmts[query]).QueryRowContext(ctx, args...)
}

// each calls scan for every row in order.
func (c conn) each(scan func(*sql.Rows) error, query string, args ...any) error {
	ctx := c.during()
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

// bulk is one upsert for several numbers of rows: a statement for 64 rows costs
// far less than 64 statements, and a few sizes fit any count.
type bulk struct {
	width int // parameters a row
	sql   [3]string
}

var bulkSizes = [3]int{64, 8, 1}

func newBulk(into string, width int, onConflict string) bulk {
	row := "(?" + strings.Repeat(", ?", width-1) + ")"
	b := bulk{width: width}
	for i, n := range bulkSizes {
		b.sql[i] = into + " VALUES " + row + strings.Repeat(", "+row, n-1) + " " + onConflict
	}
	return b
}

// put runs b for as many rows as args holds.
func (c conn) put(b bulk, args []any) error {
	for i, n := range bulkSizes {
		for step := n * b.width; len(args) >= step; args = args[step:] {
			if _, err := c.exec(b.sql[i], args[:step]...); err != nil {
				return err
			}
		}
	}
	return nil
}
