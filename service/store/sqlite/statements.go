package sqlite

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	driver "zombiezen.com/go/sqlite"
)

// readQueries change nothing. A write transaction reads too.
var readQueries = []string{
	selectTables, selectHead, selectTrainee, takeHead, selectOnce, selectIdle,
	selectEntries, selectEntriesOfDays, selectRollups, selectRollupsBetween,
	selectPlan, selectPlans, selectOpenPlan, selectDecisionsByDay, selectDecisionsBySeq, selectDecisionSeq,
	selectUpload, selectKey, selectKeyCreated, selectKeys,
	selectDueTalks, selectDueState, selectDueDays, selectStale, selectStaleOf, selectTraineesAfter,
	selectAudit, selectAuditOf, selectIdleDays, selectRetention, selectIdleTrainees, selectRollupRules,
}

// writeQueries run on the writer only.
var writeQueries = slices.Concat(
	[]string{
		bumpHead, raiseHead, nextTraineeID, insertTrainee, updateTrainee,
		insertOnce,
		deleteEntry, deleteRollup,
		insertPlan, updatePlan, insertDecision,
		upsertUpload, insertKey, endKey, revokeKey, useKey,
		insertAudit, upsertRetention, deleteOldOnces, deleteOldAudit,
		deleteDueOf, markDerived, insertDue, deleteRollups, markRestored,
		deleteEntries, deleteDecisions, deletePlans, deleteTrainee,
	},
	upsertEntries.sql[:], upsertRollups.sql[:],
)

// controlQueries begin and end transactions, and the parts of them.
var controlQueries = []string{beginWrite, commit, rollback, savepoint, rollbackToIt, releaseIt}

const (
	selectTables = `SELECT count(*) FROM sqlite_schema`

	beginWrite = `BEGIN IMMEDIATE`
	commit     = `COMMIT`
	rollback   = `ROLLBACK`
)

// errNoRow is that a query found nothing, or changed nothing.
var errNoRow = errors.New("no row")

// prepared prepares statements when the file is opened: a query with a mistake fails
// Open, never a request. A connection that lacks one is closed.
func (h *handle) prepared(reading, writing []string) (*handle, error) {
	for i, q := range slices.Concat(reading, writing) {
		st, err := h.Prepare(q)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("prepare %s: %w", q, err), h.Close())
		}
		h.stmts[q] = statement{st, i >= len(reading)}
	}
	return h, nil
}

// control begins or ends a transaction or a part of one.
func (h *handle) control(query string) error { return step(h.stmts[query].Stmt) }

func step(st *driver.Stmt) error {
	if _, err := st.Step(); err != nil {
		return err // and it is reset
	}
	return st.Reset()
}

// conn runs prepared statements inside one transaction. Each is short: once begun
// it runs to its end, and interrupted it would take down the other writes of its
// transaction.
type conn struct {
	ctx context.Context
	*handle
}

// bind returns a statement with its parameters: integers, texts, bytes, numbers, and
// what may be NULL.
func (c conn) bind(query string, args []any) (*driver.Stmt, error) {
	if err := c.ctx.Err(); err != nil {
		return nil, err
	}
	st := c.stmts[query]
	c.hasWritten = c.hasWritten || st.writes
	for i, arg := range args {
		switch v := arg.(type) {
		case string:
			st.BindText(i+1, v)
		case int64:
			st.BindInt64(i+1, v)
		case int:
			st.BindInt64(i+1, int64(v))
		case []byte:
			st.BindBytes(i+1, v)
		case float64:
			st.BindFloat(i+1, v)
		case nil:
			st.BindNull(i + 1)
		default:
			panic("sqlite: a parameter of another type")
		}
	}
	return st.Stmt, nil
}

// exec runs a query and returns how many rows it changed.
func (c conn) exec(query string, args ...any) (int, error) {
	st, err := c.bind(query, args)
	if err == nil {
		err = step(st)
	}
	if err != nil {
		return 0, err
	}
	return c.Changes(), nil
}

// change runs a query that is about one row, and gives errNoRow when there is none.
func (c conn) change(query string, args ...any) error {
	n, err := c.exec(query, args...)
	if err == nil && n == 0 {
		return errNoRow
	}
	return err
}

// row has scan read the first row, and gives errNoRow when there is none.
func (c conn) row(scan func(*driver.Stmt) error, query string, args ...any) error {
	st, err := c.bind(query, args)
	if err != nil {
		return err
	}
	defer st.Reset() // Step has told its errors
	found, err := st.Step()
	if err != nil {
		return err
	}
	if !found {
		return errNoRow
	}
	return scan(st)
}

// each has scan read every row in order.
func (c conn) each(scan func(*driver.Stmt) error, query string, args ...any) error {
	st, err := c.bind(query, args)
	if err != nil {
		return err
	}
	defer st.Reset() // Step has told its errors
	for {
		found, err := st.Step()
		if err != nil || !found {
			return err
		}
		if err := scan(st); err != nil {
			return err
		}
	}
}

// anything is for a row of which only matters that it is there.
func anything(*driver.Stmt) error { return nil }

// bulk is one upsert into a table that leads with the trainee's id, for several
// numbers of rows: a statement for some rows costs less than as many statements, and
// a few sizes fit any count. All rows share the id.
type bulk struct {
	width int // parameters a row, besides the id
	sql   [3]string
}

var bulkSizes = [3]int{32, 4, 1}

func newBulk(into string, width int, onConflict string) bulk {
	row := "(?1" + strings.Repeat(", ?", width) + ")"
	b := bulk{width: width}
	for i, n := range bulkSizes {
		b.sql[i] = into + " VALUES " + row + strings.Repeat(", "+row, n-1) + " " + onConflict
	}
	return b
}

// put runs b for so many rows; bindRow binds those of one from a parameter on.
func (c conn) put(b bulk, id int64, count int, bindRow func(st *driver.Stmt, row, first int)) error {
	row := 0
	for i, n := range bulkSizes {
		for ; count-row >= n; row += n {
			st, err := c.bind(b.sql[i], nil)
			if err != nil {
				return err
			}
			st.BindInt64(1, id)
			for k := range n {
				bindRow(st, row+k, 2+k*b.width)
			}
			if err := step(st); err != nil {
				return err
			}
		}
	}
	return nil
}
