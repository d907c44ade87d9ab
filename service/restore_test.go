//go:build unix

package service_test

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	_ "modernc.org/sqlite"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/service/window/redistest"
)

// A backup is put back while Redis lives on, with windows of the time that is lost.
// After `steelyard restored` none of them is served; without it some are, or the
// test would show nothing.

const (
	restoredTrainees = 12
	writesBefore     = 2 // of each trainee, in the backup
	writesLost       = 3 // of each, after it
	lostKg, newKg    = 60, 90
)

func TestRestore_SQLite(t *testing.T) {
	for _, told := range []bool{true, false} {
		t.Run(fmt.Sprintf("told %t", told), func(t *testing.T) {
			dir, backup := t.TempDir(), filepath.Join(t.TempDir(), "backup.db")
			testRestore(t, told, restoring{
				config: func() service.Config { return onLoopback(dir) },
				backup: func() { vacuumInto(t, filepath.Join(dir, "steelyard.db"), backup) },
				restore: func() {
					for _, ending := range []string{"-wal", "-shm"} {
						_ = os.Remove(filepath.Join(dir, "steelyard.db"+ending))
					}
					if err := os.Rename(backup, filepath.Join(dir, "steelyard.db")); err != nil {
						t.Fatal(err)
					}
				},
			})
		})
	}
}

func TestRestore_PostgreSQL(t *testing.T) {
	for _, told := range []bool{true, false} {
		t.Run(fmt.Sprintf("told %t", told), func(t *testing.T) {
			db := startPostgres(t)
			var backup *pgtest.Server
			testRestore(t, told, restoring{
				config: func() service.Config {
					cfg := onLoopback(t.TempDir())
					onPostgres(&cfg, db)
					return cfg
				},
				backup: func() {
					var err error
					if backup, err = db.Backup(); err != nil {
						t.Fatal(err)
					}
					t.Cleanup(backup.Close)
				},
				restore: func() {
					db.Stop()
					db = backup
					if err := db.Run(); err != nil {
						t.Fatal(err)
					}
				},
			})
		})
	}
}

// restoring is how a store is backed up and put back.
type restoring struct {
	config          func() service.Config
	backup, restore func()
}

func vacuumInto(t *testing.T, path, backup string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(t.Context(), "VACUUM INTO ?", backup); err != nil {
		t.Fatal(err)
	}
}

func testRestore(t *testing.T, told bool, by restoring) {
	redis := redistest.Start(t)
	run := func() *life {
		cfg := by.config()
		cfg.RedisURL, cfg.CheckWindows = service.Secret("redis://"+redis.Addr), -1
		return begin(t, cfg)
	}
	end := func(l *life) { l.stop(); l.ended(); l.close() }
	write := func(l *life, id string, kg float64) {
		t.Helper()
		if _, err := l.logbook().CreateEntry(l.ctx(), &pb.CreateEntryRequest{Parent: "trainees/" + id, Entry: weighIn(0, kg)}); err != nil {
			t.Fatal(err)
		}
	}
	read := func(l *life, id string) *pb.WeightTrend {
		t.Helper()
		got, err := l.trends().GetWeightTrend(l.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/" + id + "/weightTrend", StartDate: day(0), EndDate: day(0)})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	each := func(do func(id string)) {
		for i := range restoredTrainees {
			do(fmt.Sprintf("t-%d", i))
		}
	}

	l := run()
	each(func(id string) {
		l.trainee(id)
		for range writesBefore {
			write(l, id, 70)
		}
	})
	by.backup()
	each(func(id string) {
		for range writesLost {
			write(l, id, lostKg)
		}
		read(l, id)
	})
	for deadline := time.Now().Add(10 * time.Second); l.metric(t, "steelyard_bag_events_total", `event="filled"`) < restoredTrainees/2; {
		if time.Now().After(deadline) {
			t.Fatal("Redis was filled too little")
		}
		each(func(id string) { read(l, id) })
		time.Sleep(20 * time.Millisecond)
	}
	end(l)
	by.restore()
	if told {
		if n, err := service.Restored(t.Context(), by.config()); err != nil || n != restoredTrainees {
			t.Fatalf("restored: %d trainees, %v", n, err)
		}
	}

	l = run()
	defer end(l)
	stale := 0
	each(func(id string) {
		for range writesLost { // up to the very number that was lost
			write(l, id, newKg)
		}
		got := read(l, id)
		if kg := got.GetPoints()[0].GetReadingKg(); kg != newKg {
			stale++
			if kg != lostKg {
				t.Errorf("%s weighs %v at %s", id, kg, got.GetRevision())
			}
		}
	})
	t.Logf("%d of %d trainees were shown a window of the lost time", stale, restoredTrainees)
	if (stale > 0) == told {
		t.Errorf("told %t: %d stale windows", told, stale)
	}
}
