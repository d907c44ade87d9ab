package postgres

import (
	"cmp"
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// ahead are statements that a transaction has sent before its rest is made: the
// server runs them meanwhile. Nobody has asked yet how they end.
type ahead struct {
	pipeline *pgconn.Pipeline // nil: there are none
	cancel   context.CancelFunc
	sent     int
	builder  pgx.ExtendedQueryBuilder
}

// aheadable are the statements that may be sent so, or may follow those that were,
// without an answer between them.
var aheadable = [...]string{insertEntries, updateEntries, insertRollups, updateRollups, upsertUpload, markStale, insertOnce, commit}

// sendAhead sends what is left for later and does not ask how it ends: whoever sends
// next does.
func (c conn) sendAhead() error {
	if c.ahead.pipeline == nil {
		for _, q := range aheadable { // once for each connection
			if _, err := c.pg.Conn().Prepare(c.ctx, q, q); err != nil {
				return err
			}
		}
		ctx, cancel := c.unstopped()
		*c.ahead = ahead{pipeline: c.pg.Conn().PgConn().StartPipeline(ctx), cancel: cancel}
	}
	if err := c.addAhead(nil); err != nil {
		return err
	}
	return c.ahead.pipeline.Flush()
}

// addAhead adds what is left for later, and last, to what was sent ahead.
func (c conn) addAhead(last []*pgx.QueuedQuery) error {
	queries := append(c.later.QueuedQueries, last...)
	c.later.QueuedQueries = nil
	for _, q := range queries {
		sd, err := c.pg.Conn().Prepare(c.ctx, q.SQL, q.SQL) // it has been: this asks nobody
		if err == nil {
			err = c.ahead.builder.Build(c.pg.Conn().TypeMap(), sd, q.Arguments)
		}
		if err != nil {
			return err
		}
		c.ahead.pipeline.SendQueryStatement(sd, c.ahead.builder.ParamValues, c.ahead.builder.ParamFormats, nil)
		c.ahead.sent++
	}
	return nil
}

// ended waits until what was sent ahead has ended, and returns what the last of it did.
func (a *ahead) ended() (last commandTag, err error) {
	if a.pipeline == nil {
		return last, nil
	}
	defer func() {
		err = cmp.Or(err, a.pipeline.Close())
		a.cancel()
		a.pipeline = nil
	}()
	if err := a.pipeline.Sync(); err != nil {
		return last, err
	}
	for range a.sent {
		results, err := a.pipeline.GetResults()
		if err != nil {
			return last, err
		}
		if last, err = results.(*pgconn.ResultReader).Close(); err != nil {
			return last, err
		}
	}
	return last, nil
}
