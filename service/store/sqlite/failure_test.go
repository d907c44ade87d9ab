package sqlite

import (
	"context"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

func tryPut(t *testing.T, s *Store, entries ...engine.Entry) error {
	t.Helper()
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.PutEntries(entries)
	})
	return err
}

func wantRevision(t *testing.T, s *Store, want int64) {
	t.Helper()
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != want {
		t.Errorf("head %+v, %v; want revision %d", h, err, want)
	}
}

// A full disk is unavailable and takes nothing; with room again, writes go on.
func TestFullDisk(t *testing.T) {
	s, _ := newStore(t)
	var pages int
	s.look(t, "PRAGMA page_count", &pages)
	limit := func(pages int) { s.writer.pragma(t, "max_page_count = "+strconv.Itoa(pages)) }
	big := weighIn(1, 70)
	big.Note = strings.Repeat("x", 1<<16)
	limit(pages + 1)
	if err := tryPut(t, s, big); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("error %v", err)
	}
	wantRevision(t, s, 1)
	limit(1 << 20)
	if err := tryPut(t, s, big); err != nil {
		t.Error(err)
	}
	wantRevision(t, s, 2)
}

// A file that another program has locked is unavailable once patience is over.
func TestLockedByAnotherProgram(t *testing.T) {
	s, path := newStore(t)
	s.patience = time.Millisecond
	tx, err := outside(t, path).BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for what, err := range map[string]error{
		"update": tryPut(t, s, weighIn(1, 70)),
		"key":    s.PutKey(t.Context(), store.Key{ID: "k", Hash: []byte{1}}, act()),
	} {
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: error %v", what, err)
		}
	}
	wantRevision(t, s, 1) // reads go on
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := tryPut(t, s, weighIn(1, 70)); err != nil {
		t.Error(err)
	}
}

// Waiting for another program ends with the context, as what it is.
func TestWaitForAnotherProgramEndsWithTheContext(t *testing.T) {
	s, path := newStore(t)
	tx, err := outside(t, path).BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		_, err := s.Erase(ctx, ada, act())
		done <- err
	}()
	until(t, "the writer to be taken", func() bool { return len(s.writer.used) == 1 })
	began := time.Now()
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrUnavailable) {
		t.Errorf("error %v", err)
	}
	if took := time.Since(began); took > s.patience/2 {
		t.Errorf("told after %v", took)
	}
}

// A transaction that its context has ended gives that reason at every later step,
// and not that it is done already.
func TestStepsAfterTheContextHasEnded(t *testing.T) {
	s, _ := newStore(t)
	ctx, cancel := context.WithCancel(t.Context())
	_, err := s.Update(ctx, ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		cancel()
		if err := tx.PutEntries([]engine.Entry{weighIn(1, 70)}); !errors.Is(err, context.Canceled) {
			t.Errorf("step: %v", err)
		}
		return noAnswer, nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("update: %v", err)
	}
	wantRevision(t, s, 1)
}

// Values that JSON or SQL cannot hold are refused, and change nothing.
func TestWhatCannotBeStored(t *testing.T) {
	s, _ := newStore(t)
	nan, inf := math.NaN(), math.Inf(1)
	for _, fact := range []engine.Fact{
		engine.WeighIn{Weight: engine.Kg(nan)},
		engine.WeighIn{Weight: engine.Kg(70), MinuteOfDay: engine.Some(inf)},
		engine.WeighIn{Weight: engine.Mass{Value: 70, Unit: 77}},
		engine.Intake{Energy: engine.Energy{Value: 1900, Unit: 77}},
		engine.Activity{Energy: engine.Kcal(inf)},
		engine.BodyFat{Pct: nan},
		&engine.WeighIn{Weight: engine.Kg(70)}, // facts are stored by value
	} {
		err := tryPut(t, s, weighIn(1, 70), engine.Entry{Day: 2, Key: "1", Fact: fact})
		if err == nil || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%+v: error %v", fact, err)
		}
	}
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.PutTrainee(store.Trainee{Profile: engine.Profile{HeightCm: engine.Some(nan)}})
	})
	if err == nil {
		t.Error("a height that is no number was stored")
	}
	wantRevision(t, s, 1)
}

// Rows that this program did not write give an error, and neither a panic nor a
// guess. Each case spoils one column of one table.
func TestSpoiledRows(t *testing.T) {
	for _, spoil := range []string{
		"UPDATE entry SET fact = CAST('{' AS BLOB)",
		"UPDATE entry SET fact = CAST('{\"weight\":{\"v\":70,\"u\":\"cubit\"}}' AS BLOB)",
		"UPDATE entry SET fact = CAST('[]' AS BLOB)",
		"UPDATE entry SET fact = x''",
		"UPDATE entry SET fact = x'02'",
		"UPDATE entry SET kind = 60",
		"UPDATE day_rollup SET packed = CAST('{}' AS BLOB)",
		"UPDATE day_rollup SET packed = x'01ff'",
		"UPDATE trainee SET profile = ''",
		"UPDATE plan SET terms = '7'",
		"UPDATE decision SET action = 4096",
	} {
		s, _ := newStore(t)
		_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
			_, planErr := tx.InsertPlan(engine.Plan{ID: "p"})
			_, decisionErr := tx.InsertDecision("p", engine.Decision{ID: "d"}, nil)
			return noAnswer, errors.Join(planErr, decisionErr, tx.PutEntries([]engine.Entry{weighIn(1, 70)}))
		})
		if err != nil {
			t.Fatal(err)
		}
		s.exec(t, spoil)
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
	s, _ := newStore(t)
	s.exec(t, "UPDATE trainee SET profile = '{'")
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

func TestPingOfABrokenStore(t *testing.T) {
	s, _ := newStore(t)
	if err := s.Ping(t.Context()); err != nil {
		t.Error(err)
	}
	s.reader.close()
	if err := s.Ping(t.Context()); err == nil {
		t.Error("no error")
	}
}

// What a caller reads in an error names neither a trainee nor a driver's code
// for what the contract has a sentinel for.
func TestErrorsAreInTheStoresWords(t *testing.T) {
	s, _ := newStore(t)
	_, exists := s.Create(t.Context(), ada, store.Once{}, store.Trainee{}, noWrite)
	_, notFound := s.Head(t.Context(), store.Scope{Tenant: ada.Tenant, Trainee: "nobody"})
	for err, want := range map[error]string{exists: "create trainee: already exists", notFound: "read head: not found"} {
		if err == nil || err.Error() != want {
			t.Errorf("error %v, want %s", err, want)
		}
	}
	if errors.Is(notFound, errNoRow) {
		t.Error("an error of the package's own came through")
	}
}
