//go:build unix

package postgres

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// A statement that its caller leaves is cancelled at the server, and its
// connection serves the next caller.
func TestCancellationKeepsTheConnection(t *testing.T) {
	needServer(t)
	s := open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template))+"&pool_max_conns=1")
	defer s.Close()
	create(t, s, ada)
	locker := outside(t, s, pgtest.Super)
	for range 5 {
		tx, err := locker.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tx.Exec(t.Context(), `SELECT FROM trainee WHERE tenant = $1 AND trainee = $2 FOR UPDATE`, ada.Tenant, ada.Trainee); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() {
			_, err := s.Update(ctx, ada, store.Once{}, noWrite)
			done <- err
		}()
		watch := outside(t, s, pgtest.Super)
		for count(t, watch, `SELECT count(*) FROM pg_locks WHERE NOT granted`) == 0 { // it waits for the row
			time.Sleep(time.Millisecond)
		}
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("error %v", err)
		}
		if err := tx.Rollback(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
		t.Errorf("head %+v, %v", h, err)
	}
	if n := s.pool.Stat().NewConnsCount(); n != 1 {
		t.Errorf("%d connections were made", n)
	}
}

// The server knows how long each transaction of a caller with a deadline may take,
// and forgets it with the transaction.
func TestStatementTimeout(t *testing.T) {
	needServer(t)
	s := open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template))+"&pool_max_conns=1")
	defer s.Close()
	create(t, s, ada)
	timeout := func(ctx context.Context) (text string) {
		t.Helper()
		err := s.View(ctx, ada, func(v store.View) error {
			return v.(*view).pg.QueryRow(ctx, `SHOW statement_timeout`).Scan(&text)
		})
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if got, err := time.ParseDuration(timeout(ctx)); err != nil || got > 31*time.Second || got < 20*time.Second {
		t.Errorf("%v with a deadline of 30 s (%v)", got, err)
	}
	if got := timeout(t.Context()); got != "0" {
		t.Errorf("%s without a deadline", got)
	}
}

// A write whose program died is ended by the server, and does not keep others
// waiting; a read may be slow.
func TestIdleTransactions(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	const show = `SHOW idle_in_transaction_session_timeout`
	var inWrite, inRead string
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.(*writeTx).pg.QueryRow(t.Context(), show).Scan(&inWrite)
	})
	if err != nil {
		t.Fatal(err)
	}
	err = s.View(t.Context(), ada, func(v store.View) error {
		return v.(*view).pg.QueryRow(t.Context(), show).Scan(&inRead)
	})
	if err != nil || inWrite != "30s" || inRead != "10min" {
		t.Errorf("%s in a write, %s in a read, %v", inWrite, inRead, err)
	}
}

// The server asks after a machine that has fallen silent.
func TestKeepAlive(t *testing.T) {
	needServer(t)
	s := open(t, server.URL(pgtest.Runtime, server.Database(t, template)))
	defer s.Close()
	for name, want := range map[string]string{"tcp_keepalives_idle": "30", "tcp_keepalives_interval": "10", "tcp_keepalives_count": "3"} {
		var got string
		if err := s.pool.QueryRow(t.Context(), `SHOW `+name).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %s, %v", name, got, err)
		}
	}
}

// A step that failed at the server ends its transaction: even a callback that says
// nothing of it commits nothing, and is told so.
func TestSwallowedFailureCommitsNothing(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	read := func(tx store.Tx) {
		if _, err := tx.Upload("\x00"); err == nil {
			t.Error("a zero byte was asked for")
		}
	}
	put := func(tx store.Tx) { _ = tx.PutUpload(store.Upload{ID: "\x00"}) } // it is sent later
	for _, fails := range []func(store.Tx){read, put} {
		for _, once := range []store.Once{{}, {Method: "/m", RequestID: "r", BodyHash: "h"}} {
			_, err := s.Update(t.Context(), ada, once, func(tx store.Tx) (store.Answer, error) {
				if err := tx.PutEntries([]engine.Entry{weighIn(1, 70)}); err != nil {
					t.Fatal(err)
				}
				fails(tx)
				return noAnswer, nil
			})
			if err == nil {
				t.Error("acknowledged")
			}
		}
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
		t.Errorf("head %+v, %v", h, err)
	}
	// The same where nothing is left but the commit.
	v, err := s.open(t.Context(), ada)
	if err != nil {
		t.Fatal(err)
	}
	defer v.end()
	err = v.start(beginWrite, func(b *pgx.Batch) { b.Queue(bumpHead, ada.Tenant, ada.Trainee, int64(1)) })
	if err != nil {
		t.Fatal(err)
	}
	if _, err := v.pg.Exec(t.Context(), `SELECT 1 / 0`); err == nil {
		t.Fatal("no error")
	}
	if err := v.commit(nil); !errors.Is(err, errRolledBack) {
		t.Errorf("commit: %v", err)
	}
}

// A context that ends when nothing but the commit is left ends the write too.
func TestContextEndsBeforeTheCommit(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	ctx, cancel := context.WithCancel(t.Context())
	_, err := s.Update(ctx, ada, store.Once{}, func(store.Tx) (store.Answer, error) {
		return func(store.Head) ([]byte, error) {
			cancel()
			return nil, nil
		}, nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("update: %v", err)
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
		t.Errorf("head %+v, %v", h, err)
	}
}

// Of a batch that is sent again with one change, that one row and its day are
// written and nothing else: each row still bears the transaction that wrote it.
func TestWhatIsThereIsNotWrittenAgain(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	entries := []engine.Entry{weighIn(1, 70), weighIn(2, 71), weighIn(3, 72), {Day: 3, Key: "1", Fact: engine.PhotoSet{}}}
	mustPut(t, s, ada, store.Once{}, entries)
	db := outside(t, s, pgtest.Super)
	for changed := range 2 {
		var before int
		if err := db.QueryRow(t.Context(), `SELECT max(xmin::text::bigint) FROM day_rollup`).Scan(&before); err != nil {
			t.Fatal(err)
		}
		if changed == 1 {
			entries[1] = weighIn(2, 75)
		}
		mustPut(t, s, ada, store.Once{}, entries)
		for _, table := range []string{"entry", "day_rollup"} {
			if n := count(t, db, `SELECT count(*) FROM `+table+` WHERE xmin::text::bigint > $1`, before); n != changed {
				t.Errorf("%d rows of %s were written, want %d", n, table, changed)
			}
		}
	}
}

// A connection that the server ends is unavailable for its caller, and the next
// call has another.
func TestLostConnection(t *testing.T) {
	needServer(t)
	s := open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template))+"&pool_max_conns=1")
	defer s.Close()
	create(t, s, ada)
	super := outside(t, s, pgtest.Super)
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		run(t, super, `SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity WHERE application_name = 'steelyard' AND datname = current_database()`)
		err := tx.PutEntries([]engine.Entry{weighIn(1, 70)})
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("step: %v", err)
		}
		if _, err := tx.Upload("u"); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("a later step: %v", err)
		}
		return noAnswer, nil
	})
	if !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("update: %v", err)
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
		t.Errorf("head %+v, %v", h, err)
	}
}

// Each code of the server has its sentinel.
func TestTranslation(t *testing.T) {
	sentinels := []error{store.ErrNotFound, store.ErrExists, store.ErrUnavailable, store.ErrReused}
	for code, want := range map[string]error{
		"23505": store.ErrExists, "23503": store.ErrNotFound, "22021": store.ErrNotFound,
		"40001": store.ErrUnavailable, "40P01": store.ErrUnavailable, "53100": store.ErrUnavailable, "53300": store.ErrUnavailable,
		"57014": store.ErrUnavailable, "57P01": store.ErrUnavailable, "57P03": store.ErrUnavailable, "08006": store.ErrUnavailable,
		"25006": store.ErrUnavailable, "55P03": store.ErrUnavailable, "58030": store.ErrUnavailable,
		"42501": nil, "42P01": nil, "XX000": nil, "22003": nil, "23514": nil,
	} {
		err := fail(t.Context(), "do", &pgconn.PgError{Code: code, Message: "m"})
		for _, s := range sentinels {
			if errors.Is(err, s) != errors.Is(want, s) {
				t.Errorf("%s is %v", code, err)
			}
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := fail(ended, "do", &pgconn.PgError{Code: "57014"}); err.Error() != "do: context canceled" {
		t.Errorf("error %v", err)
	}
}

// What a caller reads in an error names neither a trainee nor a driver's code for
// what the contract has a sentinel for.
func TestErrorsAreInTheStoresWords(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	_, exists := s.Create(t.Context(), ada, store.Once{}, store.Trainee{}, noWrite)
	_, notFound := s.Head(t.Context(), store.Scope{Tenant: ada.Tenant, Trainee: "nobody"})
	for err, want := range map[error]string{exists: "create trainee: already exists", notFound: "read head: not found"} {
		if err == nil || err.Error() != want {
			t.Errorf("error %v, want %s", err, want)
		}
	}
	if errors.Is(notFound, pgx.ErrNoRows) {
		t.Error("a driver's error came through")
	}
}

// Values that cannot be stored are refused, and change nothing.
func TestWhatCannotBeStored(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	for _, fact := range []engine.Fact{
		engine.WeighIn{Weight: engine.Kg(math.NaN())},
		engine.WeighIn{Weight: engine.Mass{Value: 70, Unit: 77}},
		engine.Activity{Energy: engine.Kcal(math.Inf(1))},
		&engine.WeighIn{Weight: engine.Kg(70)}, // facts are stored by value
	} {
		_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
			return noAnswer, tx.PutEntries([]engine.Entry{weighIn(1, 70), {Day: 2, Key: "1", Fact: fact}})
		})
		if err == nil || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%+v: error %v", fact, err)
		}
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
		t.Errorf("head %+v, %v", h, err)
	}
}

// Rows that this program did not write give an error, and neither a panic nor a
// guess. Each case spoils one column of one table.
func TestSpoiledRows(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	super := outside(t, s, pgtest.Super)
	for _, spoil := range []string{
		"UPDATE entry SET fact = '{'",
		"UPDATE entry SET fact = '{\"weight\":{\"v\":70,\"u\":\"cubit\"}}'",
		"UPDATE entry SET kind = 60",
		"UPDATE day_rollup SET packed = 'x'",
		"UPDATE trainee SET profile = ''",
		"UPDATE plan SET terms = '7'",
		"UPDATE decision SET action = 4096",
	} {
		clear(t, database(s))
		_, err := s.Create(t.Context(), ada, store.Once{}, store.Trainee{}, func(tx store.Tx) (store.Answer, error) {
			_, planErr := tx.InsertPlan(engine.Plan{ID: "p"})
			_, decisionErr := tx.InsertDecision("p", engine.Decision{ID: "d"}, nil)
			return noAnswer, errors.Join(planErr, decisionErr, tx.PutEntries([]engine.Entry{weighIn(1, 70)}))
		})
		if err != nil {
			t.Fatal(err)
		}
		run(t, super, spoil)
		_, snapErr := s.Snapshot(t.Context(), ada, 0)
		viewErr := s.View(t.Context(), ada, func(v store.View) error {
			_, err := v.Entries(store.EntryQuery{To: 9, Limit: 9})
			return err
		})
		err = errors.Join(snapErr, viewErr)
		if err == nil || errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: error %v", spoil, err)
		}
	}
}

// A profile that does not read back is an error to whoever asks for it, in a read and
// in a write, and never one of which nothing is known. Who does not ask may write.
func TestSpoiledProfile(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	run(t, outside(t, s, pgtest.Super), "UPDATE trainee SET profile = '{'")
	asked := func(v store.View) error {
		got, err := v.Trainee()
		if got != (store.Trainee{}) {
			t.Errorf("it reads %+v", got)
		}
		return err
	}
	_, snapErr := s.Snapshot(t.Context(), ada, 0)
	_, writeErr := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) { return noAnswer, asked(tx) })
	for what, err := range map[string]error{"snapshot": snapErr, "view": s.View(t.Context(), ada, asked), "write": writeErr} {
		if err == nil || errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: %v", what, err)
		}
	}
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.PutEntries([]engine.Entry{weighIn(1, 70)})
	})
	if err != nil {
		t.Error(err)
	}
}

// No error of a URL shows any of it.
func TestURLErrorsShowNothing(t *testing.T) {
	for _, url := range []string{"postgres://a:hunter2@h:port/x", "postgres://a:hunter2%zz@x", "://hunter2", "postgres://a:hunter2@h/x?sslmode=hunter2"} {
		openErr := ValidateURL(url)
		migrateErr := Migrate(t.Context(), url, "r")
		for _, err := range []error{openErr, migrateErr} {
			if err == nil || strings.Contains(err.Error(), "hunter2") {
				t.Errorf("%q: %v", url, err)
			}
		}
	}
}
