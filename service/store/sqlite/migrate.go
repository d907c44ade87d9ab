package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"io/fs"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrations embed.FS

// migrate applies the migrations that the file lacks, each in a transaction.
// They only ever go forward.
func migrate(ctx context.Context, db *sql.DB) error {
	p, err := migrator(db)
	if err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return fail(ctx, "migrate", err)
}

func migrator(db *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
}
