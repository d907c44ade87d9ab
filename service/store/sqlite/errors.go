package sqlite

import (
	"context"
	"errors"
	"fmt"

	driver "zombiezen.com/go/sqlite"

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
	// What waits or runs when its context ends fails in several ways: the caller is
	// told the one reason.
	if ended := ctx.Err(); ended != nil {
		return ended
	}
	if errors.Is(err, errNoRow) {
		return store.ErrNotFound
	}
	code := codeOf(err)
	switch code {
	case driver.ResultConstraintPrimaryKey, driver.ResultConstraintUnique:
		return store.ErrExists
	case driver.ResultConstraintForeignKey:
		return store.ErrNotFound // each one says that a row hangs on its owner
	}
	switch code.ToPrimary() {
	case driver.ResultBusy, driver.ResultLocked, driver.ResultFull, driver.ResultIOErr, driver.ResultCantOpen,
		driver.ResultReadOnly, driver.ResultNoMem, driver.ResultProtocol:
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

// codeOf returns SQLite's extended code of an error, whichever of the two drivers
// gave it; of what is no error of SQLite, ResultError.
func codeOf(err error) driver.ResultCode {
	var migrating interface{ Code() int }
	if errors.As(err, &migrating) {
		return driver.ResultCode(migrating.Code())
	}
	return driver.ErrCode(err)
}
