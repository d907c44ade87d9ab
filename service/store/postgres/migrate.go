package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine/rollup"
)

//go:embed migrations/*.sql
var migrations embed.FS

// schema is where everything lies; connections find it by their search path.
const schema = "steelyard"

// migrationLock is the advisory lock that one migrating program holds.
const migrationLock = 0x5743_1a9d

// Migrate brings the schema up to date as the role of ownerURL, which is to own
// it, and gives the role named runtime what the program needs of it: all rights
// on rows, none on the schema. The database must exist. Everything happens in one
// transaction, and of several programs that start at once one does it.
func Migrate(ctx context.Context, ownerURL, runtime string) error {
	return asOwner(ctx, ownerURL, "migrate", func(tx pgx.Tx) error {
		if err := migrate(ctx, tx); err != nil {
			return err
		}
		if err := rebuildRollups(ctx, tx); err != nil {
			return err
		}
		return grant(ctx, tx, runtime)
	})
}

// asOwner runs f in one transaction of the role of ownerURL.
func asOwner(ctx context.Context, ownerURL, action string, f func(pgx.Tx) error) error {
	cfg, err := pgx.ParseConfig(ownerURL)
	if err != nil {
		return errors.New("the owner's URL is not one of PostgreSQL") // the URL may hold a password
	}
	cfg.RuntimeParams["search_path"] = schema
	db, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return fail(ctx, "connect as owner", unavailable(err))
	}
	defer db.Close(context.WithoutCancel(ctx))
	return fail(ctx, action, pgx.BeginFunc(ctx, db, f))
}

// files returns the migrations in order; the place of one, from 1, is its version.
func files() []string {
	entries, err := migrations.ReadDir("migrations")
	if err != nil {
		panic(err) // embedded
	}
	var out []string
	for _, e := range entries {
		out = append(out, "migrations/"+e.Name())
	}
	slices.Sort(out)
	return out
}

// migrate applies the migrations that the schema lacks. They only ever go forward.
func migrate(ctx context.Context, tx pgx.Tx) error {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, migrationLock); err != nil {
		return err
	}
	for _, q := range []string{
		`CREATE SCHEMA IF NOT EXISTS ` + schema,
		`CREATE TABLE IF NOT EXISTS ` + schema + `.schema_version (version integer PRIMARY KEY, applied timestamptz NOT NULL DEFAULT now())`,
	} {
		if _, err := tx.Exec(ctx, q); err != nil {
			return err
		}
	}
	var have int
	if err := tx.QueryRow(ctx, selectVersion).Scan(&have); err != nil {
		return err
	}
	for i, name := range files() {
		if i < have {
			continue
		}
		text, err := migrations.ReadFile(name)
		if err != nil {
			return err
		}
		if _, err := tx.Conn().PgConn().Exec(ctx, string(text)).ReadAll(); err != nil { // many statements
			return fmt.Errorf("%s: %w", name, err)
		}
		if _, err := tx.Exec(ctx, `INSERT INTO schema_version (version) VALUES ($1)`, i+1); err != nil {
			return err
		}
	}
	return nil
}

const (
	selectVersion = `SELECT coalesce(max(version), 0) FROM ` + schema + `.schema_version`

	// Partitions are reached through their table only, whose policy then holds.
	selectGrantable = `SELECT c.relname FROM pg_class c
WHERE c.relnamespace = '` + schema + `'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition AND c.relname <> 'schema_version'
ORDER BY c.relname`
)

// grant gives a role the rows of every table.
func grant(ctx context.Context, tx pgx.Tx, role string) error {
	found, err := tx.Query(ctx, selectGrantable)
	if err != nil {
		return err
	}
	tables, err := pgx.CollectRows(found, pgx.RowTo[string])
	if err != nil {
		return err
	}
	to := " TO " + pgx.Identifier{role}.Sanitize()
	grants := []string{`GRANT USAGE ON SCHEMA ` + schema + to, `GRANT SELECT ON ` + schema + `.schema_version` + to}
	for _, t := range tables {
		grants = append(grants, `GRANT SELECT, INSERT, UPDATE, DELETE ON `+pgx.Identifier{schema, t}.Sanitize()+to)
	}
	for _, q := range grants {
		if _, err := tx.Exec(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// checkVersion refuses a schema that lacks migrations of this program, or whose days
// are rolled up by older rules. One that
// has more of them serves: a newer program runs beside this one.
func checkVersion(ctx context.Context, db *pgx.Conn) error {
	var have int
	err := db.QueryRow(ctx, selectVersion).Scan(&have)
	if c := code(err); c == undefinedTable || c == insufficientPrivilege {
		have, err = 0, nil
	}
	if err == nil && have < len(files()) {
		err = fmt.Errorf("the schema is at version %d and this program needs %d: start it once with the owner's URL", have, len(files()))
	}
	if err != nil {
		return err
	}
	if err := db.QueryRow(ctx, selectRollupRules).Scan(&have); err != nil {
		return err
	}
	if have < rollup.Rules {
		return fmt.Errorf("the days are rolled up by rules %d and this program has %d: start it once with the owner's URL", have, rollup.Rules)
	}
	return nil
}
