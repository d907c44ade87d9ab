package service

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/sqlite"
	"example.com/steelyard/service/trail"
)

// steps is a store that has so many full steps to sweep, and then fails if err is set.
type steps struct {
	store.Store
	full    int
	err     error
	queries []store.SweepQuery
}

func (s *steps) Sweep(_ context.Context, q store.SweepQuery) (store.Swept, error) {
	s.queries = append(s.queries, q)
	out := store.Swept{Erased: []store.Scope{{Tenant: "gym", Trainee: "canary"}}, RequestIDs: 2, Audit: 3, More: len(s.queries) <= s.full}
	if !out.More {
		return out, s.err
	}
	return out, nil
}

var sweptAt = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// A sweep goes on until nothing is left, adds up, and asks for what is documented:
// request ids of two days, the trail as it is set, bounded steps.
func TestSweep_StepByStep(t *testing.T) {
	s := &steps{full: 2}
	names, err := trail.NewNames([]byte("pepper"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := sweepAll(t.Context(), s, names, sweptAt, Config{AuditDays: 400}.auditKept())
	if err != nil || len(got.Erased) != 3 || got.RequestIDs != 6 || got.Audit != 9 || got.More {
		t.Errorf("%+v, %v", got, err)
	}
	for _, q := range s.queries {
		if !q.Now.Equal(sweptAt) || !q.RequestIDsBefore.Equal(sweptAt.AddDate(0, 0, -2)) || !q.AuditBefore.Equal(sweptAt.AddDate(0, 0, -400)) || q.Limit != sweepStep {
			t.Errorf("asked for %+v", q)
		}
	}
	sc := store.Scope{Tenant: "gym", Trainee: "canary"}
	if r := s.queries[0].Erasure(sc); r.Actor != "retention" || r.Method != "EraseTrainee" || r.Resource != names.Erased(sc) || !r.At.Equal(sweptAt) {
		t.Errorf("record %+v", r)
	}
}

// One that never ends is ended, and says so; what was removed before an error counts.
func TestSweep_EndsSomeTime(t *testing.T) {
	endless := &steps{full: 1 << 30}
	got, err := sweepAll(t.Context(), endless, trail.Names{}, sweptAt, time.Hour)
	if err != nil || len(endless.queries) != sweepSteps || !got.More {
		t.Errorf("%d steps, more %t, %v", len(endless.queries), got.More, err)
	}
	broken := &steps{full: 1, err: errors.New("down")}
	if got, err = sweepAll(t.Context(), broken, trail.Names{}, sweptAt, time.Hour); !errors.Is(err, broken.err) || len(got.Erased) != 2 {
		t.Errorf("%+v, %v", got, err)
	}
}

// What serves forgets the windows of whom a sweep erased, also when it breaks off,
// and logs counts and nothing else.
func TestSweep_ForgetsAndLogsCounts(t *testing.T) {
	for _, down := range []error{nil, errors.New("down")} {
		var log bytes.Buffer
		var forgotten []store.Scope
		a := &App{
			cfg: Config{AuditDays: 400}, log: slog.New(slog.NewTextHandler(&log, nil)), store: &steps{err: down},
			forget: func(_ context.Context, s store.Scope) { forgotten = append(forgotten, s) },
		}
		a.sweep(t.Context())
		if !slices.Equal(forgotten, []store.Scope{{Tenant: "gym", Trainee: "canary"}}) {
			t.Errorf("forgot %v", forgotten)
		}
		if text := log.String(); strings.Contains(text, "canary") || !strings.Contains(text, "erased_trainees=1 request_ids=2 audit_records=3") ||
			strings.Contains(text, "cause=down") != (down != nil) {
			t.Errorf("logged %s", text)
		}
	}
}

// usedKeys counts flushes.
type usedKeys struct {
	steps
	flushes int
}

func (u *usedKeys) UsedKeys(context.Context, map[string]time.Time) error {
	u.flushes++
	return nil
}

// The tasks run when their time has come, by a clock that the test moves: uses each
// minute, the first sweep after some minutes and then one an hour, and nothing more
// once they are ended.
func TestTasks_Times(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &usedKeys{}
		a := &App{
			cfg: Config{AuditDays: 400}, log: slog.New(slog.DiscardHandler), store: s,
			uses: &access.Uses{Keys: s}, forget: func(context.Context, store.Scope) {},
		}
		wait := a.startTasks(t.Context())
		time.Sleep(sweepDelay - time.Second)
		synctest.Wait()
		if len(s.queries) != 0 || s.flushes != 0 {
			t.Errorf("%d sweeps, %d flushes without a use", len(s.queries), s.flushes)
		}
		time.Sleep(sweepDelay)
		synctest.Wait()
		if len(s.queries) != 1 {
			t.Errorf("%d sweeps after some minutes", len(s.queries))
		}
		for range 10 {
			a.uses.Use("k", time.Now())
			time.Sleep(useInterval)
			synctest.Wait()
		}
		if s.flushes != 10 {
			t.Errorf("%d flushes in ten minutes", s.flushes)
		}
		time.Sleep(24 * sweepInterval)
		synctest.Wait()
		if n := len(s.queries); n < 16 || n > 25 {
			t.Errorf("%d sweeps in a day", n)
		}
		wait()
		n := len(s.queries)
		time.Sleep(3 * sweepInterval)
		if len(s.queries) != n {
			t.Error("a sweep after the end")
		}
	})
}

// The real store, by the clock of the sweep: who was idle for longer than the tenant
// has set is erased, and an idempotency record of two days is gone.
func TestSweep_OverAStore(t *testing.T) {
	s, err := sqlite.Open(t.Context(), t.TempDir()+"/log.db", time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	sc := store.Scope{Tenant: "gym", Trainee: "ada"}
	once := store.Once{Method: "/m", RequestID: "r", BodyHash: "h"}
	none := func(store.Tx) (store.Answer, error) {
		return func(store.Head) ([]byte, error) { return nil, nil }, nil
	}
	if _, err := s.Create(t.Context(), sc, once, store.Trainee{}, none); err != nil {
		t.Fatal(err)
	}
	if err := s.SetIdleDays(t.Context(), "gym", 30, trail.By(trail.Operator, "UpdateRetention", "retention", time.Now())); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		after                    time.Duration
		erased, requestIDs, acts int
	}{
		{47 * time.Hour, 0, 0, 0}, {49 * time.Hour, 0, 1, 0}, {29 * 24 * time.Hour, 0, 0, 0}, {31 * 24 * time.Hour, 1, 0, 0},
		{399 * 24 * time.Hour, 0, 0, 0}, {402 * 24 * time.Hour, 0, 0, 1}, {433 * 24 * time.Hour, 0, 0, 1},
	} {
		got, err := sweepAll(t.Context(), s, trail.Names{}, time.Now().Add(c.after), Config{AuditDays: 400}.auditKept())
		if err != nil || len(got.Erased) != c.erased || got.RequestIDs != c.requestIDs || got.Audit != c.acts {
			t.Errorf("after %v: %+v, %v", c.after, got, err)
		}
	}
}
