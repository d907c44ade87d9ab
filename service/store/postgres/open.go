package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgconn/ctxwatch"
	"github.com/jackc/pgx/v5/pgxpool"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// Store implements store.Store on one PostgreSQL database.
type Store struct {
	pool    *pgxpool.Pool
	now     func() time.Time
	renewer renewer
}

var (
	_ store.Store  = (*Store)(nil)
	_ window.Heads = (*Store)(nil)
)

const (
	// patience is how long a statement has to heed its cancellation before its
	// connection is given up.
	patience = 2 * time.Second
	// reflection is how long a statement whose caller left may still end by itself:
	// most do, and no cancellation need be sent.
	reflection = 20 * time.Millisecond
	// connectTimeout bounds a connection's start when the URL has no connect_timeout.
	connectTimeout = 5 * time.Second
	// commitPatience bounds a commit and a rollback, which no caller's context ends.
	commitPatience = 5 * time.Second
)

// Open connects to the database of url, which is to be reached as a role that owns
// nothing. With an ownerURL it first brings the schema up to date as the owner (see
// Migrate); without one the schema must be up to date. Stored instants come from
// now, cut to whole seconds in UTC. Any number of programs may serve one database.
//
// Open, and later each new connection, refuses a server or a role that does not
// keep what an acknowledged write and the separation of tenants rest on. No error
// shows a URL.
func Open(ctx context.Context, url, ownerURL string, now func() time.Time) (_ *Store, err error) {
	cfg, err := configure(url)
	if err != nil {
		return nil, err
	}
	if ownerURL != "" {
		if err := Migrate(ctx, ownerURL, cfg.ConnConfig.User); err != nil {
			return nil, err
		}
	}
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, err
	}
	s := &Store{pool: pool, now: func() time.Time { return now().UTC().Truncate(time.Second) }}
	defer func() {
		if err != nil {
			pool.Close()
		}
	}()
	if err = s.Ping(ctx); err != nil {
		return nil, err
	}
	if err = s.checkVersion(ctx); err != nil {
		return nil, err
	}
	s.startRenewing()
	return s, nil
}

// ValidateURL says what is wrong with a URL, without showing any of it.
func ValidateURL(url string) error {
	_, err := configure(url)
	return err
}

func configure(url string) (*pgxpool.Config, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, errors.New("not a URL of PostgreSQL such as postgres://user@host/database") // err may show a password
	}
	if !strings.Contains(url, "pool_max_conns") {
		cfg.MaxConns = max(16, cfg.MaxConns) // pgxpool's own is for machines, not for calls that wait for a disk
	}
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = connectTimeout
	}
	params := cfg.ConnConfig.RuntimeParams
	params["search_path"] = schema
	params["jit"] = "off" // the statements are short and many
	// Each has one plan that is right for all values (TestNoStatementScans). Left to
	// itself the server makes some anew each time, which takes longer than to run them.
	params["plan_cache_mode"] = "force_generic_plan"
	// A program that dies without a word must not keep a trainee's row locked.
	params["idle_in_transaction_session_timeout"] = "30s"
	// Nor must one whose machine is gone, amid a write that the server waits for the rest of.
	for name, value := range map[string]string{"tcp_keepalives_idle": "30", "tcp_keepalives_interval": "10", "tcp_keepalives_count": "3"} {
		if params[name] == "" {
			params[name] = value
		}
	}
	if params["application_name"] == "" {
		params["application_name"] = "steelyard"
	}
	cfg.ConnConfig.BuildContextWatcherHandler = func(c *pgconn.PgConn) ctxwatch.Handler {
		return &pgconn.CancelRequestContextWatcherHandler{Conn: c, CancelRequestDelay: reflection, DeadlineDelay: patience}
	}
	cfg.AfterConnect = verify
	return cfg, nil
}

// Ping implements store.Store. It asks the server itself, and whether it still
// keeps its promises.
func (s *Store) Ping(ctx context.Context) error {
	c, err := s.acquire(ctx)
	if err != nil {
		return fail(ctx, "ping", err)
	}
	defer c.Release()
	return fail(ctx, "ping", verify(ctx, c.Conn()))
}

func (s *Store) checkVersion(ctx context.Context) error {
	c, err := s.acquire(ctx)
	if err != nil {
		return fail(ctx, "read schema version", err)
	}
	defer c.Release()
	return fail(ctx, "read schema version", checkVersion(ctx, c.Conn()))
}

// Close implements store.Store.
func (s *Store) Close() error {
	s.renewer.stop()
	<-s.renewer.done
	s.pool.Close()
	return nil
}

// acquire takes a connection out of the pool. Whatever keeps it from it, a retry
// may succeed.
func (s *Store) acquire(ctx context.Context) (*pgxpool.Conn, error) {
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		return nil, unavailable(fmt.Errorf("connect: %w", err))
	}
	return c, nil
}
