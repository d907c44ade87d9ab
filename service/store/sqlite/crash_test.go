package sqlite

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// A process that is killed in the midst of its writes has lost nothing that it
// acknowledged, and left nothing half done. The process is this test binary,
// which says each revision once it is acknowledged.
func TestKilledProcessLosesNothing(t *testing.T) {
	if path := os.Getenv("STORE_WRITE"); path != "" {
		writeUntilKilled(t, path)
		return
	}
	path := filepath.Join(t.TempDir(), "log.db")
	s := open(t, path)
	create(t, s, ada)
	s.Close()
	for round := range 5 {
		acknowledged := killAfter(t, path, 5+7*round)
		s, err := Open(t.Context(), path, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		checkWhole(t, s, acknowledged)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// writeUntilKilled puts two days and counts them in an upload, again and again.
func writeUntilKilled(t *testing.T, path string) {
	s := open(t, path)
	for {
		_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
			n := tx.Head().Revision
			day := engine.Day(2 * n)
			err := tx.PutEntries([]engine.Entry{weighIn(day, float64(n)), weighIn(day+1, float64(n))})
			if err != nil {
				return nil, err
			}
			return func(h store.Head) ([]byte, error) { return nil, nil }, tx.PutUpload(store.Upload{ID: "u", NextSeq: n})
		})
		if err != nil {
			t.Fatal(err)
		}
		h, err := s.Head(t.Context(), ada)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Printf("acknowledged %d\n", h.Revision)
	}
}

// killAfter starts the writer, kills it after some acknowledgements and returns
// the last revision that it got out.
func killAfter(t *testing.T, path string, lines int) (last int64) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run", "^TestKilledProcessLosesNothing$")
	cmd.Env = append(os.Environ(), "STORE_WRITE="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for in := bufio.NewScanner(out); in.Scan(); {
		if _, err := fmt.Sscanf(in.Text(), "acknowledged %d", &last); err != nil || !strings.HasPrefix(in.Text(), "acknowledged") {
			continue
		}
		if seen++; seen == lines {
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	_ = cmd.Wait() // killed
	if seen < lines {
		t.Fatalf("the writer ended by itself after %d writes", seen)
	}
	return last
}

// checkWhole fails unless all of each write up to the head is there, and the head
// is not behind what was acknowledged.
func checkWhole(t *testing.T, s *Store, acknowledged int64) {
	t.Helper()
	var verdict string
	if s.look(t, "PRAGMA integrity_check", &verdict); verdict != "ok" {
		t.Errorf("integrity: %s", verdict)
	}
	err := s.View(t.Context(), ada, func(v store.View) error {
		n := v.Head().Revision
		if n < acknowledged {
			t.Errorf("revision %d, acknowledged %d", n, acknowledged)
		}
		entries, err := v.Entries(store.EntryQuery{To: 1 << 20, Limit: 1 << 20})
		if err != nil {
			return err
		}
		for i, e := range entries {
			if want := weighIn(engine.Day(4+i), float64(2+i/2)); e != want {
				t.Errorf("entry %d is %+v, want %+v", i, e, want)
			}
		}
		if len(entries) != int(2*(n-1)) {
			t.Errorf("%d entries at revision %d", len(entries), n)
		}
		u, err := v.Upload("u")
		if u.NextSeq != n {
			t.Errorf("upload at %d, revision %d", u.NextSeq, n)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	snap, err := s.Snapshot(t.Context(), ada, 4)
	if err != nil || len(snap.Window.Days) != int(2*(snap.Head.Revision-1)) {
		t.Errorf("%d days at revision %d, %v", len(snap.Window.Days), snap.Head.Revision, err)
	}
}
