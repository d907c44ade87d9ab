//go:build unix

package postgres

import (
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/service/store/storetest"
)

// server is the one that most tests share, nil when none can be started here.
var server *pgtest.Server

// template is a database of it with the schema and nothing else.
const template = "template_steelyard"

func TestMain(m *testing.M) {
	if os.Getenv(childVariable) != "" { // a process that a test started
		os.Exit(m.Run())
	}
	var err error
	server, err = pgtest.Start()
	switch {
	case errors.Is(err, pgtest.ErrNoBinaries):
	case err == nil:
		err = prepare()
		if err != nil {
			server.Close()
		}
	}
	if err != nil && !errors.Is(err, pgtest.ErrNoBinaries) {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	result := m.Run()
	if server != nil {
		server.Close()
	}
	if err := goleak.Find(); err != nil && result == 0 {
		fmt.Fprintln(os.Stderr, err)
		result = 1
	}
	os.Exit(result)
}

func prepare() error {
	if err := server.Exec("postgres", `CREATE DATABASE `+template+` OWNER `+pgtest.Owner); err != nil {
		return err
	}
	return Migrate(testingContext, server.SocketURL(pgtest.Owner, template), pgtest.Runtime)
}

func TestStore(t *testing.T) {
	needServer(t)
	db := server.Database(t, template)
	storetest.Run(t, func(t *testing.T) store.Store {
		clear(t, db)
		return open(t, server.SocketURL(pgtest.Runtime, db))
	})
}

// needServer skips a test where no server can be started.
func needServer(t testing.TB) {
	t.Helper()
	if server == nil {
		t.Skip(pgtest.ErrNoBinaries)
	}
}

// newStore opens an empty store; who opens it closes it.
func newStore(t testing.TB) *Store {
	t.Helper()
	needServer(t)
	return open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template)))
}

func open(t testing.TB, url string) *Store {
	t.Helper()
	s, err := Open(t.Context(), url, "", time.Now)
	if err != nil {
		t.Fatal(err)
	}
	return s
}
