package postgres

import (
	"cmp"
	"context"
	"errors"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// A write waits for the trainee's row and then reads what was committed before:
	// each statement sees the latest, and the row's lock keeps others out.
	beginWrite = `BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE`
	// A read sees the state of its first statement until its end.
	beginRead = `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`

	commit   = `COMMIT`
	rollback = `ROLLBACK`

	// Until the end of the transaction: whose rows there are, and how long a
	// statement may take.
	setTenant = `SELECT set_config('steelyard.tenant', $1, true), set_config('statement_timeout', $2, true)`
)

// mayPause lets a read wait between its statements, for a slow reader of an export
// say: it locks nothing.
const mayPause = `SELECT set_config('idle_in_transaction_session_timeout', '10min', true)`

// named is the first statement of everything that is about one tenant.
func named(ctx context.Context, b *pgx.Batch, tenant string) {
	b.Queue(setTenant, tenant, statementTimeout(ctx))
}

// statementTimeout is in ms what is left of a context. It ends what its program
// has no longer asked to end, because it died; so it comes after the context's own
// end. 0 is no limit.
func statementTimeout(ctx context.Context) string {
	deadline, ok := ctx.Deadline()
	if !ok {
		return "0"
	}
	return strconv.FormatInt((max(0, time.Until(deadline)) + time.Second).Milliseconds(), 10)
}

// ask runs a batch outside of any explicit transaction: its statements are one
// transaction by themselves, sent and answered in one go.
func (s *Store) ask(ctx context.Context, b *pgx.Batch) error {
	c, err := s.acquire(ctx)
	if err != nil {
		return err
	}
	defer c.Release()
	return c.SendBatch(ctx, b).Close()
}

// conn runs statements inside one transaction.
type conn struct {
	ctx context.Context
	pg  *pgxpool.Conn
	// later are statements whose outcome nobody waits for: they go before the next
	// one that somebody does wait for, the commit at the latest.
	later *pgx.Batch
	ahead *ahead
}

// send runs a batch, and before it what is left for later.
func (c conn) send(b *pgx.Batch) error { return c.sendBy(c.ctx, b) }

func (c conn) sendBy(ctx context.Context, b *pgx.Batch) error {
	if _, err := c.ahead.ended(); err != nil {
		return err
	}
	if c.later.Len() > 0 {
		b.QueuedQueries = append(c.later.QueuedQueries, b.QueuedQueries...)
		c.later.QueuedQueries = nil
	}
	return c.pg.SendBatch(ctx, b).Close()
}

// change runs a statement that is about one row, and gives pgx.ErrNoRows when
// there is none.
func (c conn) change(query string, args ...any) error {
	var changed int64
	b := &pgx.Batch{}
	b.Queue(query, args...).Exec(func(tag commandTag) error {
		changed = tag.RowsAffected()
		return nil
	})
	err := c.send(b)
	if err == nil && changed == 0 {
		return pgx.ErrNoRows
	}
	return err
}

// one scans the one row of a statement, and gives pgx.ErrNoRows when there is none.
func (c conn) one(scan func(pgx.Row) error, query string, args ...any) error {
	var none error
	b := &pgx.Batch{}
	b.Queue(query, args...).QueryRow(orNone(&none, scan))
	return cmp.Or(c.send(b), none)
}

// orNone is scan, with pgx.ErrNoRows put aside: after an error of its own a batch has
// the connection prepare all of its statements anew.
func orNone(none *error, scan func(pgx.Row) error) func(pgx.Row) error {
	return func(r pgx.Row) error {
		err := scan(r)
		if errors.Is(err, pgx.ErrNoRows) {
			*none, err = err, nil
		}
		return err
	}
}

// each calls scan for every row in order.
func (c conn) each(scan func(pgx.Rows) error, query string, args ...any) error {
	b := &pgx.Batch{}
	b.Queue(query, args...).Query(eachRow(scan))
	return c.send(b)
}

// eachRow is what reads the rows of a queued statement.
func eachRow(scan func(pgx.Rows) error) func(pgx.Rows) error {
	return func(found pgx.Rows) error {
		defer found.Close()
		for found.Next() {
			if err := scan(found); err != nil {
				return err
			}
		}
		return found.Err()
	}
}

// errRolledBack is a commit that the server turned into a rollback, because a
// statement before it had failed.
var errRolledBack = errors.New("a step before had failed")

// commit ends the transaction, with one more statement before its end when last
// is not nil. Once it is sent nobody's leaving stops it: the server could not say
// any more whether it had happened. What was left for later goes before it.
func (c conn) commit(last func(*pgx.Batch)) error {
	if err := c.ctx.Err(); err != nil {
		return err
	}
	b := &pgx.Batch{}
	if last != nil {
		last(b)
	}
	ended := ""
	b.Queue(commit).Exec(func(tag commandTag) error {
		ended = tag.String()
		return nil
	})
	var err error
	if c.ahead.pipeline != nil {
		err = c.addAhead(b.QueuedQueries)
		tag, failed := c.ahead.ended()
		ended, err = tag.String(), cmp.Or(err, failed)
	} else {
		ctx, cancel := c.unstopped()
		defer cancel()
		err = c.sendBy(ctx, b)
	}
	if err == nil && ended != commit {
		err = errRolledBack
	}
	return err
}

// unstopped is the context of a commit and of what goes with it.
func (c conn) unstopped() (context.Context, context.CancelFunc) {
	patience := commitPatience
	if deadline, ok := c.ctx.Deadline(); ok {
		patience = max(patience, time.Until(deadline)) // a large batch goes with it
	}
	return context.WithTimeout(context.WithoutCancel(c.ctx), patience)
}

// end gives the connection back, with nothing of an unfinished transaction on it.
func (c conn) end() {
	_, _ = c.ahead.ended() // if it failed, so has the transaction
	if db := c.pg.Conn(); !db.IsClosed() && db.PgConn().TxStatus() != 'I' {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(c.ctx), commitPatience)
		_, _ = db.PgConn().Exec(ctx, rollback).ReadAll() // the pool closes what is still in a transaction
		cancel()
	}
	c.pg.Release()
}

// view is one read transaction on one trainee.
type view struct {
	conn
	scope    store.Scope
	timeline string
	head     store.Head
	trainee  store.Trainee // without the profile
	profile  []byte        // as it is stored
}

var _ store.View = (*view)(nil)

// Head implements store.View.
func (v *view) Head() store.Head { return v.head }

// TimeZone implements store.View.
func (v *view) TimeZone() string { return v.trainee.TimeZone }

// Trainee implements store.View.
func (v *view) Trainee() (store.Trainee, error) {
	t := v.trainee
	var err error
	if t.Profile, err = rows.DecodeProfile(v.profile); err != nil {
		return store.Trainee{}, v.fail("read trainee", err)
	}
	return t, nil
}

// fail wraps an error with the action, in the store's sentinels.
func (v *view) fail(action string, err error) error { return fail(v.ctx, action, err) }

// open takes a connection for one transaction on one trainee.
func (s *Store) open(ctx context.Context, sc store.Scope) (*view, error) {
	c, err := s.acquire(ctx)
	if err != nil {
		return nil, err
	}
	timeline, _ := c.Conn().PgConn().CustomData()[timelineKey].(string)
	return &view{conn: conn{ctx, c, &pgx.Batch{}, &ahead{}}, scope: sc, timeline: timeline}, nil
}

// start begins the transaction in the trainee's tenant and runs first, all in one go.
func (v *view) start(begin string, first func(*pgx.Batch)) error {
	b := &pgx.Batch{}
	b.Queue(begin)
	named(v.ctx, b, v.scope.Tenant)
	first(b)
	return v.send(b)
}

// writeTx is one write transaction on one trainee, at one instant.
type writeTx struct {
	view
	now time.Time
}

var _ store.Tx = (*writeTx)(nil)
