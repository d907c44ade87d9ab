package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// timelineKey is where a connection keeps the timeline of its server.
const timelineKey = "steelyard.timeline"

// selectPromises reads what an acknowledged write and the separation of tenants
// rest on, as this connection has it.
const selectPromises = `SELECT pg_is_in_recovery(),
  current_setting('synchronous_commit'), current_setting('fsync'), current_setting('full_page_writes'),
  r.rolsuper, r.rolbypassrls,
  EXISTS (SELECT FROM pg_class c WHERE c.relnamespace = to_regnamespace('` + schema + `') AND pg_has_role(c.relowner, 'MEMBER')),
  CASE WHEN pg_is_in_recovery() THEN '' ELSE substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8) END
FROM pg_roles r WHERE r.rolname = current_user`

// verify refuses a connection that does not keep a promise, and notes on it which
// timeline the server writes.
func verify(ctx context.Context, db *pgx.Conn) error {
	var standby, super, bypass, owner bool
	var commit, fsync, pages, timeline string
	err := db.QueryRow(ctx, selectPromises).Scan(&standby, &commit, &fsync, &pages, &super, &bypass, &owner, &timeline)
	if err != nil {
		return err
	}
	var errs []error
	refuse := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	if standby {
		refuse("the server is a standby: heads must be read where they are written")
	}
	// off does not wait for the disk, local not for a standby that would take over.
	if commit != "on" && commit != "remote_write" && commit != "remote_apply" {
		refuse("synchronous_commit is %s: an acknowledged write must survive a crash", commit)
	}
	if fsync != "on" {
		refuse("fsync is %s: an acknowledged write must survive a power cut", fsync)
	}
	if pages != "on" {
		refuse("full_page_writes is %s: a page that is half written must be mended", pages)
	}
	if super || bypass || owner {
		refuse("the role may see past the row policies (superuser %t, BYPASSRLS %t, owner %t): serve as another role than the owner", super, bypass, owner)
	}
	db.PgConn().CustomData()[timelineKey] = timeline
	return errors.Join(errs...)
}
