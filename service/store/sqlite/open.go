// Package sqlite is the store on one SQLite file: the default backend, for one
// machine. It needs no server and no C compiler.
//
// Writes go through one connection, in immediate transactions that are on the
// disk before they are acknowledged; writes that have queued up share one. Reads
// go through a pool of their own and never wait for a write.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"runtime"
	"slices"
	"sync/atomic"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"example.com/steelyard/service/store"
)

// Store implements store.Store on one file.
type Store struct {
	writer *sql.DB // one connection, immediate transactions
	reader *sql.DB // a pool that cannot write
	queue  queue   // of writes
	writes statements
	reads  statements
	now    func() time.Time

	residue atomic.Bool // erased data may be left in the write-ahead log
	renewer renewer
}

var _ store.Store = (*Store)(nil)

// Open opens or creates the database file at path and brings it up to date,
// which may take a while the first time after an update of the program. The
// folder must exist. Stored instants come from now, cut to whole seconds in UTC.
// Several processes of one machine may have the file open.
//
// Open refuses when the database does not take the settings that an
// acknowledged write rests on.
func Open(ctx context.Context, path string, now func() time.Time) (_ *Store, err error) {
	s := &Store{now: func() time.Time { return now().UTC().Truncate(time.Second) }}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("open %s: %w", path, err), s.Close())
		}
	}()
	// A relative path inside a file: URI would be read as a host's name.
	file, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err = makeFile(file); err != nil {
		return nil, err
	}
	if s.writer, err = sql.Open("sqlite", dsn(file, writerSettings)); err != nil {
		return nil, err
	}
	s.writer.SetMaxOpenConns(1)
	if err = verify(ctx, s.writer, writerPromises); err != nil {
		return nil, err
	}
	if err = migrate(ctx, s.writer); err != nil {
		return nil, err
	}
	if s.reader, err = sql.Open("sqlite", dsn(file, readerSettings)); err != nil {
		return nil, err
	}
	readers := max(4, runtime.GOMAXPROCS(0))
	s.reader.SetMaxOpenConns(readers)
	s.reader.SetMaxIdleConns(readers)
	if err = verify(ctx, s.reader, readerPromises); err != nil {
		return nil, err
	}
	if s.writes, err = prepare(ctx, s.writer, slices.Concat(readQueries, writeQueries)); err != nil {
		return nil, err
	}
	if s.reads, err = prepare(ctx, s.reader, readQueries); err != nil {
		return nil, err
	}
	if err = s.rebuildRollups(ctx); err != nil {
		return nil, err
	}
	s.startRenewing()
	return s, nil
}

// Ping implements store.Store.
func (s *Store) Ping(ctx context.Context) error {
	var tables int
	return fail(ctx, "ping", s.reads[selectTables].QueryRowContext(ctx).Scan(&tables))
}

// Close implements store.Store. The writer closes last: it is the one that can
// bring the write-ahead log home.
func (s *Store) Close() error {
	s.renewer.stop()
	var errs []error
	for _, db := range []*sql.DB{s.reader, s.writer} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// patience is how many ms to wait for a lock of another program.
const patience = "busy_timeout(5000)"

// Settings of the two handles. An immediate transaction takes the write lock at
// its start: a deferred one that reads first and then writes fails at once when
// another writer was quicker, whatever the patience.
var (
	writerSettings = url.Values{
		"_pragma": {patience, "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"},
		"_txlock": {"immediate"},
		"_dqs":    {"0"},
	}
	readerSettings = url.Values{
		"_pragma": {patience, "query_only(1)"},
		"_dqs":    {"0"},
	}
)

// promise is a setting read back from a connection.
type promise struct{ pragma, want, why string }

var (
	writerPromises = []promise{
		{"journal_mode", "wal", "readers must not wait for a write"},
		{"synchronous", "2", "an acknowledged write must survive a power cut"},
		{"foreign_keys", "1", "an erasure must reach every table"},
		{"secure_delete", "1", "erased data must leave the file"},
	}
	readerPromises = []promise{{"query_only", "1", "a read must not write"}}
)

// verify refuses a handle whose connections lack a promised setting.
func verify(ctx context.Context, db *sql.DB, promises []promise) error {
	for _, p := range promises {
		var got string
		if err := db.QueryRowContext(ctx, "PRAGMA "+p.pragma).Scan(&got); err != nil {
			return fail(ctx, "read "+p.pragma, err)
		}
		if got != p.want {
			return fmt.Errorf("%s is %s, want %s: %s", p.pragma, got, p.want, p.why)
		}
	}
	return nil
}

func dsn(path string, settings url.Values) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: settings.Encode()}
	return u.String()
}
