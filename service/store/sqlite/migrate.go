package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path/filepath"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

//go:embed migrations/*.sql
var migrations embed.FS

// migrate applies the migrations that the file lacks, each in a transaction. They
// only ever go forward. They have a connection of their own, with the settings of
// the writer.
func migrate(ctx context.Context, file string) (err error) {
	db, err := sql.Open("sqlite", dsn(file, writerSettings))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	p, err := migrator(db)
	if err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return fail(ctx, "migrate", err)
}

// dsn names a file with settings, for transactions that take the write lock at
// their start: see beginWrite.
func dsn(path string, settings []string) string {
	q := url.Values{
		"_pragma": append([]string{fmt.Sprintf("busy_timeout(%d)", patience.Milliseconds())}, settings...),
		"_txlock": {"immediate"},
		"_dqs":    {"0"},
	}
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}).String()
}

func migrator(db *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
}
