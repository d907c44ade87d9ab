package sqlite

import (
	"context"
	"database/sql"
	sqldriver "database/sql/driver"
	"errors"
	"fmt"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"example.com/steelyard/service/store"
)

// fail names the action that failed and speaks in the store's sentinels.
func fail(ctx context.Context, action string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", action, translate(ctx, err))
}

func translate(ctx context.Context, err error) error {
	// A statement that its context ended fails in several ways (interrupted,
	// transaction done, context error): the caller is told the one reason.
	if ended := ctx.Err(); ended != nil {
		return ended
	}
	if errors.Is(err, sql.ErrNoRows) {
		return store.ErrNotFound
	}
	if errors.Is(err, sql.ErrConnDone) || errors.Is(err, sqldriver.ErrBadConn) {
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	var refused *driver.Error
	if !errors.As(err, &refused) {
		return err
	}
	switch refused.Code() {
	case codes.SQLITE_CONSTRAINT_PRIMARYKEY, codes.SQLITE_CONSTRAINT_UNIQUE:
		return store.ErrExists
	case codes.SQLITE_CONSTRAINT_FOREIGNKEY:
		return store.ErrNotFound // each one says that a row hangs on its owner
	}
	switch refused.Code() & 0xff { // the rest of an extended code says where
	case codes.SQLITE_BUSY, codes.SQLITE_LOCKED, codes.SQLITE_FULL, codes.SQLITE_IOERR, codes.SQLITE_CANTOPEN,
		codes.SQLITE_READONLY, codes.SQLITE_NOMEM, codes.SQLITE_PROTOCOL:
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}
