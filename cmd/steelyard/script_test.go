package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){"steelyard": main})
}

// TestScripts runs the program as a shell does. The scripts' own command
// `server` starts a server and points STEELYARD_ADDRESS and STEELYARD_KEY at it.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: false,
		RequireUniqueNames:  true,
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"server": serverCommand},
		Setup: func(env *testscript.Env) error {
			env.Setenv("HOME", env.WorkDir)
			env.Setenv("TMPDIR", env.WorkDir)
			return nil
		},
	})
}

func serverCommand(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: server")
	}
	app, key := startApp(ts.Getenv("WORK"), ts.Check)
	run, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- app.Run(run) }()
	ts.Defer(func() {
		stop()
		ts.Check(errors.Join(<-done, app.Close()))
	})
	ts.Setenv("STEELYARD_ADDRESS", app.GRPCAddress())
	ts.Setenv("STEELYARD_KEY", key)
}

// startApp makes a server on free ports with a key that may do everything.
func startApp(parent string, check func(error)) (*service.App, string) {
	dir, err := os.MkdirTemp(parent, "server-")
	check(err)
	app, err := service.New(context.Background(), service.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0", DataDir: dir,
	}, service.WithLog(slog.New(slog.NewTextHandler(io.Discard, nil))))
	check(err)
	key, _, err := app.Keyring().Issue(context.Background(), defaultTenant, "test", access.ScopeNames(), time.Time{})
	check(err)
	return app, key
}
