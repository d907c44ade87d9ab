// Package sqlite is the store on one SQLite file: the default backend, for one
// machine. It needs no server and no C compiler.
//
// Writes go through one connection, in immediate transactions that are on the
// disk before they are acknowledged; writes that have queued up share one. Reads
// go through a pool of their own and never wait for a write.
package sqlite

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"sync/atomic"
	"time"

	"example.com/steelyard/service/store"
)

// Store implements store.Store on one file.
type Store struct {
	writer *pool // one connection, immediate transactions
	reader *pool // of connections that cannot write
	queue  queue // of writes
	now    func() time.Time

	patience time.Duration // how long to wait for another program that writes
	residue  atomic.Bool   // erased data may be left in the write-ahead log
	renewer  renewer
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
	s := &Store{now: func() time.Time { return now().UTC().Truncate(time.Second) }, patience: patience}
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
	if err = migrate(ctx, file); err != nil {
		return nil, err
	}
	s.writer = newPool(1, func() (*handle, error) { return openWriter(file) })
	s.reader = newPool(max(4, runtime.GOMAXPROCS(0)), func() (*handle, error) { return openReader(file) })
	for _, p := range []*pool{s.writer, s.reader} { // what is wrong is told now
		h, err := p.take(ctx)
		if err != nil {
			return nil, fail(ctx, "connect", err)
		}
		p.put(h)
	}
	if err = s.rebuildRollups(ctx); err != nil {
		return nil, err
	}
	s.startRenewing()
	return s, nil
}

// openWriter opens a connection that writes.
func openWriter(file string) (*handle, error) {
	h, err := connect(file, writerSettings, writerPromises)
	if err != nil {
		return nil, err
	}
	h.SetBusyTimeout(0) // begin waits for other programs, and what else is to be had at once or not is not worth it
	return h.prepared(slices.Concat(controlQueries, readQueries), writeQueries)
}

// openReader opens a connection that cannot write.
func openReader(file string) (*handle, error) {
	h, err := connect(file, readerSettings, readerPromises)
	if err != nil {
		return nil, err
	}
	return h.prepared(readQueries, nil)
}

// Ping implements store.Store.
func (s *Store) Ping(ctx context.Context) error {
	return fail(ctx, "ping", s.get(ctx, func(c conn) error {
		return c.row(anything, selectTables)
	}))
}

// Close implements store.Store. The writer closes last: it is the one that can
// bring the write-ahead log home.
func (s *Store) Close() error {
	s.renewer.stop()
	var errs []error
	for _, p := range []*pool{s.reader, s.writer} {
		if p != nil {
			errs = append(errs, p.close())
		}
	}
	return errors.Join(errs...)
}

// patience is how long to wait for a lock of another program.
const patience = 5 * time.Second

// Settings of the two kinds of connections, in the syntax that a pragma and a
// parameter of a file's name share.
var (
	writerSettings = []string{"journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"}
	readerSettings = []string{"query_only(1)"}
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
