package sqlite

import (
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/goleak"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/storetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store { return open(t, filepath.Join(t.TempDir(), "log.db")) })
}

// open opens a file; who opens it closes it.
func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	return s
}
