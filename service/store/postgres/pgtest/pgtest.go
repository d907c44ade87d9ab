//go:build unix

// Package pgtest runs a PostgreSQL of its own for tests: a new cluster in a
// temporary folder, reached over a socket in that folder and over loopback. Its
// settings are the server's own defaults, with which every commit is on the disk
// before it is acknowledged. The server is a child of the test.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Roles of every cluster. Neither has any attribute but LOGIN: the owner owns the
// databases, the runtime role owns nothing.
const (
	Super   = "postgres"
	Owner   = "steelyard_owner"
	Runtime = "steelyard"
)

// Server is a running cluster.
type Server struct {
	dir, bin string
	port     int
	cred     *syscall.SysProcAttr
	cmd      *exec.Cmd
	exited   chan struct{}
	names    atomic.Int64
}

// ErrNoBinaries says what is missing. A test that meets it is skipped. Where
// STEELYARD_NEED_SERVERS is set, as in the whole check, it fails instead.
var ErrNoBinaries = errors.New("no PostgreSQL server programs: install postgresql, or name the folder of initdb and postgres in PGTEST_BIN")

// find returns the folder of the server's programs.
func find() (string, error) {
	if dir := os.Getenv("PGTEST_BIN"); dir != "" {
		return dir, nil
	}
	if path, err := exec.LookPath("postgres"); err == nil {
		// It may be a link into the folder that has the others.
		if path, err = filepath.EvalSymlinks(path); err == nil {
			return filepath.Dir(path), nil
		}
	}
	dirs, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // Debian keeps them off the path
	if len(dirs) == 0 {
		if os.Getenv("STEELYARD_NEED_SERVERS") != "" {
			return "", errors.New(ErrNoBinaries.Error()) // not the one that skips
		}
		return "", ErrNoBinaries
	}
	return dirs[len(dirs)-1], nil
}

// Start makes a cluster and starts it with more settings, each name=value.
// ErrNoBinaries when there is no server to start. Close removes everything.
func Start(settings ...string) (_ *Server, err error) {
	s := &Server{}
	if s.bin, err = find(); err != nil {
		return nil, err
	}
	if s.dir, err = os.MkdirTemp("", "steelyard-pg-"); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	if err = s.becomeNobody(); err != nil {
		return nil, err
	}
	initdb := exec.CommandContext(context.Background(), filepath.Join(s.bin, "initdb"), "-D", s.data(), "-U", Super, "-A", "trust", "-E", "UTF8", "--no-locale", "-N")
	initdb.SysProcAttr, initdb.Dir = s.cred, s.dir
	if out, err := initdb.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w: %s", err, out)
	}
	if s.port, err = freePort(); err != nil {
		return nil, err
	}
	if err = s.Run(settings...); err != nil {
		return nil, err
	}
	return s, s.Exec("postgres",
		`CREATE ROLE `+Owner+` LOGIN`, `CREATE ROLE `+Runtime+` LOGIN`)
}

// becomeNobody makes the server run as a user without rights, which it insists on.
func (s *Server) becomeNobody() error {
	s.cred = dieWithParent()
	s.cred.Setpgid = true // a key pressed at the terminal is for the test
	if os.Getuid() != 0 {
		return nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return err
		}
	}
	uid, err := strconv.Atoi(u.Uid)
	if err != nil {
		return err
	}
	gid, err := strconv.Atoi(u.Gid)
	if err != nil {
		return err
	}
	s.cred.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	return os.Chown(s.dir, uid, gid)
}

func (s *Server) data() string { return filepath.Join(s.dir, "data") }

func freePort() (int, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Run starts the server over the cluster as it lies, and waits until it answers.
func (s *Server) Run(settings ...string) error {
	args := []string{"-D", s.data(), "-k", s.dir, "-p", strconv.Itoa(s.port), "-h", "127.0.0.1"}
	for _, set := range append([]string{"max_connections=60", "log_min_messages=fatal"}, settings...) {
		args = append(args, "-c", set)
	}
	var log strings.Builder
	cmd := exec.CommandContext(context.Background(), filepath.Join(s.bin, "postgres"), args...)
	cmd.SysProcAttr, cmd.Dir, cmd.Stderr = s.cred, s.dir, &log
	if err := cmd.Start(); err != nil {
		return err
	}
	exited := make(chan struct{})
	go func() {
		defer close(exited)
		_ = cmd.Wait() // how it ended is the test's own doing
	}()
	s.cmd, s.exited = cmd, exited
	for range 600 {
		err := s.Exec("postgres")
		if err == nil {
			return nil
		}
		select {
		case <-exited:
			return fmt.Errorf("postgres ended: %s", log.String())
		case <-time.After(20 * time.Millisecond):
		}
	}
	return errors.New("postgres did not come up")
}

// Kill ends the server as a crash does, and returns when it is gone.
func (s *Server) Kill() { s.signal(syscall.SIGKILL) }

// Stop ends the server at once, with its files in order.
func (s *Server) Stop() { s.signal(syscall.SIGINT) }

func (s *Server) signal(sig syscall.Signal) {
	if s.cmd != nil {
		_ = s.cmd.Process.Signal(sig)
		<-s.exited
		s.cmd = nil
	}
}

// Close ends the server and removes its files.
func (s *Server) Close() {
	s.Stop()
	_ = os.RemoveAll(s.dir)
}

// Standby makes the cluster start as a standby, from its next Run on, until it is promoted.
func (s *Server) Standby() error {
	path := filepath.Join(s.data(), "standby.signal")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		return err
	}
	if c := s.cred.Credential; c != nil {
		return os.Chown(path, int(c.Uid), int(c.Gid))
	}
	return nil
}

// Backup copies the running cluster as a backup does, and returns the copy, which
// does not run. Close removes it.
func (s *Server) Backup() (_ *Server, err error) {
	b := &Server{bin: s.bin}
	if b.dir, err = os.MkdirTemp("", "steelyard-pg-"); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			b.Close()
		}
	}()
	if err = b.becomeNobody(); err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(context.Background(), filepath.Join(s.bin, "pg_basebackup"), "-D", b.data(), "-h", s.dir, "-p", strconv.Itoa(s.port), "-U", Super, "-c", "fast")
	cmd.SysProcAttr, cmd.Dir = b.cred, b.dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("pg_basebackup: %w: %s", err, out)
	}
	b.port, err = freePort()
	return b, err
}

// URL is how a role reaches a database.
func (s *Server) URL(role, database string) string {
	u := url.URL{Scheme: "postgres", User: url.User(role), Path: database, Host: net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port))}
	return u.String()
}

// SocketURL is the same over the socket.
func (s *Server) SocketURL(role, database string) string {
	q := url.Values{"host": {s.dir}, "port": {strconv.Itoa(s.port)}}
	return "postgres://" + role + "@/" + database + "?" + q.Encode()
}

// SuperURL is how the superuser reaches a database.
func (s *Server) SuperURL(database string) string { return s.SocketURL(Super, database) }

// Exec runs statements as the superuser.
func (s *Server) Exec(database string, statements ...string) error {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	db, err := pgx.Connect(ctx, s.SuperURL(database))
	if err != nil {
		return err
	}
	defer db.Close(ctx)
	for _, q := range statements {
		if _, err := db.Exec(ctx, q); err != nil {
			return fmt.Errorf("%s: %w", q, err)
		}
	}
	return nil
}

// Database makes an empty database, or a copy of template when that is not empty,
// and returns its name. Nobody may be connected to the template. It goes with the test.
func (s *Server) Database(t testing.TB, template string) string {
	t.Helper()
	name := "db" + strconv.FormatInt(s.names.Add(1), 10)
	q := `CREATE DATABASE ` + name + ` OWNER ` + Owner
	if template != "" {
		q += ` TEMPLATE ` + template
	}
	if err := s.Exec("postgres", q); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if s.cmd == nil { // the test left it dead
			return
		}
		if err := s.Exec("postgres", `DROP DATABASE `+name+` WITH (FORCE)`); err != nil {
			t.Error(err)
		}
	})
	return name
}
