package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"example.com/steelyard/service/store"
)

// Codes of PostgreSQL, appendix A of its manual. The first two digits are a class.
const (
	notInRepertoire       = "22021" // a text holds a zero byte or is no UTF-8
	readOnlyTransaction   = "25006" // the server became a standby
	foreignKeyViolation   = "23503"
	uniqueViolation       = "23505"
	insufficientPrivilege = "42501"
	undefinedTable        = "42P01"
	lockNotAvailable      = "55P03"
	queryCanceled         = "57014"

	connectionClass    = "08"
	rollbackClass      = "40" // serialization failure, deadlock
	resourcesClass     = "53" // disk full, too many connections
	interventionClass  = "57" // shut down, not yet up, statement timeout
	systemFailureClass = "58" // input or output failed
)

// code returns the server's code of an error, empty when it is none of the server's.
func code(err error) string {
	var refused *pgconn.PgError
	if errors.As(err, &refused) {
		return refused.Code
	}
	return ""
}

// fail names the action that failed and speaks in the store's sentinels.
func fail(ctx context.Context, action string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", action, translate(ctx, err))
}

func translate(ctx context.Context, err error) error {
	// A statement that its context ended fails in several ways (cancelled by the
	// server, connection given up): the caller is told the one reason.
	if ended := ctx.Err(); ended != nil {
		return ended
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return store.ErrNotFound
	}
	switch c := code(err); c {
	case "":
		if lost(err) {
			return unavailable(err)
		}
	case uniqueViolation:
		return store.ErrExists
	case foreignKeyViolation:
		return store.ErrNotFound // each one says that a row hangs on its owner
	case notInRepertoire:
		return store.ErrNotFound // no id that is stored holds such a text; free text is escaped
	case readOnlyTransaction, lockNotAvailable:
		return unavailable(err)
	default:
		switch c[:min(2, len(c))] {
		case connectionClass, rollbackClass, resourcesClass, interventionClass, systemFailureClass:
			return unavailable(err)
		}
	}
	return err
}

// unavailable marks what a retry may mend.
func unavailable(err error) error {
	if errors.Is(err, store.ErrUnavailable) {
		return err
	}
	return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
}

// lost reports whether the connection failed, and not what was asked over it.
func lost(err error) bool {
	var network net.Error
	return errors.As(err, &network) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) ||
		errors.Is(err, net.ErrClosed) || pgconn.SafeToRetry(err) || pgconn.Timeout(err)
}

// A text of PostgreSQL cannot hold a zero byte, and a note may.
var (
	escaper   = strings.NewReplacer(`\`, `\\`, "\x00", `\0`)
	unescaper = strings.NewReplacer(`\\`, `\`, `\0`, "\x00")
)

// free is a text that its writer may put anything into, as it is stored.
func free(text string) string { return escaper.Replace(text) }

// given reads what free wrote.
func given(text string) string {
	if !strings.Contains(text, `\`) { // as nearly all
		return text
	}
	return unescaper.Replace(text)
}
