package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

var ada = store.Scope{Tenant: "north-gym", Trainee: "ada"}

func create(t testing.TB, s *Store, sc store.Scope) {
	t.Helper()
	if _, err := s.Create(t.Context(), sc, store.Once{}, store.Trainee{DisplayName: "Ada"}, noWrite); err != nil {
		t.Fatal(err)
	}
}

// newStore has one trainee, ada.
func newStore(t *testing.T) (s *Store, path string) {
	path = filepath.Join(t.TempDir(), "log.db")
	s = open(t, path)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	create(t, s, ada)
	return s, path
}

// outside is a connection of another program, which waits for no lock.
func outside(t *testing.T, path string) *sql.DB {
	t.Helper()
	db := connection(t, path)
	if _, err := db.Exec("PRAGMA busy_timeout(0)"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func weighIn(day engine.Day, kg float64) engine.Entry {
	return engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(kg)}}
}

// Two processes write to one file at once, the second being this test binary run
// once more: nothing is lost, and each sees the other's writes.
func TestTwoProcessesShareTheFile(t *testing.T) {
	const writes = 40
	scope := store.Scope{Tenant: "gym", Trainee: "shared"}
	write := func(s *Store, offset engine.Day) {
		for i := range engine.Day(writes) {
			_, err := s.Update(t.Context(), scope, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				return noAnswer, tx.PutEntries([]engine.Entry{weighIn(2*i+offset, 80)})
			})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	if path := os.Getenv("STORE_OPEN"); path != "" {
		s := open(t, path)
		defer s.Close()
		write(s, 1)
		return
	}
	path := filepath.Join(t.TempDir(), "log.db")
	s := open(t, path)
	defer s.Close()
	if _, err := s.Create(t.Context(), scope, store.Once{}, store.Trainee{TimeZone: "UTC"}, noWrite); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run", "^TestTwoProcessesShareTheFile$")
	cmd.Env = append(os.Environ(), "STORE_OPEN="+path)
	done := make(chan error, 1)
	var out []byte
	go func() {
		var err error
		out, err = cmd.CombinedOutput()
		done <- err
	}()
	write(s, 0)
	if err := <-done; err != nil {
		t.Fatalf("second process: %v: %s", err, out)
	}
	snap, err := s.Snapshot(t.Context(), scope, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(snap.Window.Days) != 2*writes || snap.Head.Revision != 1+2*writes {
		t.Errorf("%d days at revision %d, want %d at %d", len(snap.Window.Days), snap.Head.Revision, 2*writes, 1+2*writes)
	}
	for i, d := range snap.Window.Days {
		if !d.WeightKg.OK {
			t.Errorf("day %d is lost", i)
		}
	}
}

func TestOpenOfARelativePath(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.Mkdir("data", 0o700); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"log.db", "data/log.db", "./data/../other.db"} {
		if err := open(t, path).Close(); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := os.Stat(path); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestOpenRefusesWhatIsNoFolderOrDatabase(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("this is a shopping list\n", 99)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "nowhere", "log.db"), text, dir} {
		if _, err := Open(t.Context(), path, time.Now); err == nil || !strings.Contains(err.Error(), "open "+path) {
			t.Errorf("%s: %v", path, err)
		}
	}
	if got, err := os.ReadFile(text); err != nil || !strings.HasPrefix(string(got), "this is a shopping list") {
		t.Errorf("the file was changed: %v", err)
	}
}

// Names with characters that mean something in a URI.
func TestOpenTakesAnyName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b?c=d&e#f%20g:é.db")
	s := open(t, path)
	create(t, s, ada)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		t.Errorf("%v, %v", info, err)
	}
}

func TestOpenWithAnEndedContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	path := filepath.Join(t.TempDir(), "log.db")
	if _, err := Open(ctx, path, time.Now); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	open(t, path).Close() // and it let go of the file
}

// A log is nobody else's to read.
func TestFilesAreTheOwnersOnly(t *testing.T) {
	_, path := newStore(t)
	files, err := filepath.Glob(path + "*")
	if err != nil || len(files) != 3 { // database, write-ahead log, its index
		t.Fatalf("files %v, %v", files, err)
	}
	for _, f := range files {
		if info, err := os.Stat(f); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", filepath.Base(f), info.Mode(), err)
		}
	}
}

func TestSettings(t *testing.T) {
	s, _ := newStore(t)
	for p, promises := range map[*pool][]promise{s.writer: writerPromises, s.reader: readerPromises} {
		h, err := p.take(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if err := h.verify(promises); err != nil {
			t.Error(err)
		}
		p.put(h)
	}
	if ms := s.reader.pragma(t, "busy_timeout"); ms != "5000" || s.patience != 5*time.Second {
		t.Errorf("a reader waits for %s ms, the writer for %v", ms, s.patience)
	}
	h, err := s.reader.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer s.reader.put(h)
	st, _, err := h.PrepareTransient("DELETE FROM entry")
	if err != nil {
		t.Fatal(err)
	}
	defer st.Finalize()
	if _, err := st.Step(); err == nil {
		t.Error("the reader can write")
	}
	if _, _, err := h.PrepareTransient(`SELECT "north"`); err == nil {
		t.Error("a name in double quotes is a text")
	}
}

// Each promise that a connection does not keep is refused by name.
func TestSettingsAreVerified(t *testing.T) {
	for pragma, broken := range map[string]string{
		"journal_mode": "journal_mode(DELETE)", "synchronous": "synchronous(NORMAL)",
		"foreign_keys": "foreign_keys(0)", "secure_delete": "secure_delete(FAST)",
	} {
		settings := slices.Clone(writerSettings)
		for i, s := range settings {
			if strings.HasPrefix(s, pragma) {
				settings[i] = broken
			}
		}
		path := filepath.Join(t.TempDir(), "log.db")
		if err := makeFile(path); err != nil {
			t.Fatal(err)
		}
		if _, err := connect(path, settings, writerPromises); err == nil || !strings.Contains(err.Error(), pragma+" is ") {
			t.Errorf("%s: %v", broken, err)
		}
	}
}

// A write transaction locks at its start, not at its first write: it cannot fail
// half-way because another program was quicker.
func TestWriteTransactionLocksAtItsStart(t *testing.T) {
	s, path := newStore(t)
	h, err := s.begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer s.end(h)
	_, err = outside(t, path).BeginTx(t.Context(), nil)
	var refused *driver.Error
	if !errors.As(err, &refused) || refused.Code() != codes.SQLITE_BUSY {
		t.Errorf("a second writer: %v", err)
	}
}

// What was acknowledged is there after closing and opening again.
func TestReopen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	s := open(t, path)
	create(t, s, ada)
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(1, 70)})
	before, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = open(t, path)
		after, err := s.Snapshot(t.Context(), ada, 0)
		if err != nil || after.Head != before.Head || len(after.Window.Days) != 2 || after.Window.Days[1] != before.Window.Days[1] {
			t.Errorf("%+v, %v; before %+v", after, err, before)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if left, _ := filepath.Glob(path + "-*"); len(left) != 0 {
		t.Errorf("Close left %v", left)
	}
}

// Every stored instant is now's, cut to whole seconds in UTC.
func TestTimesAreOfTheGivenClock(t *testing.T) {
	clock := time.Date(2026, 3, 2, 9, 0, 0, 999, time.FixedZone("x", 7200))
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), func() time.Time { return clock })
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	made := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	create(t, s, ada)
	clock = clock.Add(90 * time.Second)
	later := made.Add(90 * time.Second)
	_, err = s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		clock = clock.Add(time.Hour) // one write, one instant
		if err := tx.PutTrainee(store.Trainee{}); err != nil {
			return nil, err
		}
		p, err := tx.InsertPlan(engine.Plan{ID: "p"})
		if err != nil || p.Created != later || p.Updated != later {
			t.Errorf("plan %v, %v, %v", p.Created, p.Updated, err)
		}
		d, err := tx.InsertDecision("p", engine.Decision{ID: "d"}, nil)
		if err != nil || d.Recorded != later {
			t.Errorf("decision %v, %v", d.Recorded, err)
		}
		return noAnswer, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	snap, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil || snap.Trainee.Created != made || snap.Trainee.Updated != later {
		t.Errorf("created %v, updated %v, %v", snap.Trainee.Created, snap.Trainee.Updated, err)
	}
	if err := s.PutKey(t.Context(), store.Key{ID: "k", Tenant: "t", Hash: []byte{1}}, act()); err != nil {
		t.Fatal(err)
	}
	if _, err := s.RevokeKey(t.Context(), "t", "k", act()); err != nil {
		t.Fatal(err)
	}
	if k, err := s.Key(t.Context(), "k"); err != nil || !k.Revoked.Equal(later.Add(time.Hour)) {
		t.Errorf("revoked %v, %v", k.Revoked, err)
	}
}
