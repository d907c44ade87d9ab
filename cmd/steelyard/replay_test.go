package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// replayFiles are two small tables and an output of before.
func replayFiles(t *testing.T) replayer {
	t.Helper()
	dir := t.TempDir()
	r := replayer{
		profiles: filepath.Join(dir, "profiles.csv"), logs: filepath.Join(dir, "logs.csv"), out: filepath.Join(dir, "estimates.csv"),
		every: 1, status: io.Discard,
	}
	for name, text := range map[string]string{
		r.profiles: "trainee\nzoe\n", r.logs: "trainee,date,weight_kg\nzoe,2025-03-01,80\n", r.out: "before\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// unchanged checks that the output is that of before, with nothing beside it.
func (r replayer) unchanged(t *testing.T) {
	t.Helper()
	if text, err := os.ReadFile(r.out); err != nil || string(text) != "before\n" {
		t.Errorf("the output is %q (%v)", text, err)
	}
	left, err := os.ReadDir(filepath.Dir(r.out))
	if err != nil || len(left) != 3 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}

func TestReplayThatFailsKeepsTheOldFile(t *testing.T) {
	r := replayFiles(t)
	full := errors.New("no space left")
	err := r.write(func(out io.Writer) error {
		_, _ = io.WriteString(out, strings.Repeat("x", 1<<20))
		return full
	})
	if !errors.Is(err, full) {
		t.Errorf("error %v", err)
	}
	r.unchanged(t)
}

func TestReplayInterruptedKeepsTheOldFile(t *testing.T) {
	r := replayFiles(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if summary, err := r.run(ctx); err == nil || err.Error() != "interrupted; nothing was written" || summary != "" {
		t.Errorf("%q, %v", summary, err)
	}
	r.unchanged(t)
	if _, err := io.ReadAll(interruptible{ctx, strings.NewReader("x")}); !errors.Is(err, context.Canceled) {
		t.Errorf("read on: %v", err)
	}
}

func TestReplayReplacesTheOldFile(t *testing.T) {
	r := replayFiles(t)
	if summary, err := r.run(t.Context()); err != nil || !strings.HasPrefix(summary, "1 row of 1 trainee written to ") {
		t.Fatalf("%q, %v", summary, err)
	}
	text, err := os.ReadFile(r.out)
	if err != nil || !strings.HasSuffix(string(text), "\nzoe,2025-03-01,,,,,,,,,\n") {
		t.Errorf("%q (%v)", text, err)
	}
}
