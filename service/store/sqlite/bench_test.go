package sqlite

import (
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// benchStore has one trainee with a log of 90 days: weight, intake and steps each
// day, two lifts on every other.
func benchStore(b *testing.B) (*Store, store.Scope) {
	s := open(b, filepath.Join(b.TempDir(), "log.db"))
	b.Cleanup(func() { s.Close() })
	sc := store.Scope{Tenant: "gym", Trainee: "ada"}
	if _, err := s.Create(b.Context(), sc, store.Once{}, store.Trainee{}, noWrite); err != nil {
		b.Fatal(err)
	}
	mustPut(b, s, sc, store.Once{}, keptDays(0, 90))
	return s, sc
}

// keptDays returns the entries of n days, four a day on average.
func keptDays(first engine.Day, n int) []engine.Entry {
	var out []engine.Entry
	for i := range n {
		day := first + engine.Day(i)
		out = append(out,
			engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(80.3 - float64(i)/50), MinuteOfDay: engine.Some(420)}},
			engine.Entry{Day: day, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(1900 + float64(i)), ProteinG: engine.Some(140)}},
			engine.Entry{Day: day, Key: "1", Fact: engine.Activity{Steps: engine.Some(9000 + float64(i))}})
		if i%2 == 0 {
			out = append(out,
				engine.Entry{Day: day, Key: "1", Fact: engine.LiftSet{Lift: "back-squat", Load: engine.Kg(100), Reps: 5}},
				engine.Entry{Day: day, Key: "2", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 8}})
		}
	}
	return out
}

func mustPut(t testing.TB, s *Store, sc store.Scope, once store.Once, entries []engine.Entry) {
	t.Helper()
	_, err := s.Update(t.Context(), sc, once, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.PutEntries(entries)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// act is an audit record that no test looks at.
func act() store.AuditRecord {
	return store.AuditRecord{ID: store.NewAuditID(time.Now()), At: time.Now()}
}

func noAnswer(store.Head) ([]byte, error) { return nil, nil }

func BenchmarkHead(b *testing.B) {
	s, sc := benchStore(b)
	for b.Loop() {
		if _, err := s.Head(b.Context(), sc); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSnapshot90Days(b *testing.B) {
	s, sc := benchStore(b)
	for b.Loop() {
		if _, err := s.Snapshot(b.Context(), sc, 0); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSnapshot90DaysOfAPlan is the same with an open plan and its decisions.
func BenchmarkSnapshot90DaysOfAPlan(b *testing.B) {
	s, sc := benchStore(b)
	openPlan(b, s, sc)
	for b.Loop() {
		if _, err := s.Snapshot(b.Context(), sc, 0); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkUpdateOneEntry(b *testing.B) {
	s, sc := benchStore(b)
	benchOneEntry(b, s, sc)
}

// BenchmarkUpdateOneEntryOfAPlan is the same with an open plan, of which the due
// talks are derived: the usual write.
func BenchmarkUpdateOneEntryOfAPlan(b *testing.B) {
	s, sc := benchStore(b)
	openPlan(b, s, sc)
	benchOneEntry(b, s, sc)
}

func benchOneEntry(b *testing.B, s *Store, sc store.Scope) {
	i := 0
	for b.Loop() {
		i++
		once := store.Once{Method: "/m", RequestID: fmt.Sprint(i), BodyHash: "h"}
		mustPut(b, s, sc, once, []engine.Entry{{Day: 89, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(78 + float64(i%8)/10)}}})
	}
}

// BenchmarkUpdateNewDayOfAPlan is the first entry of a day: who stopped logging
// is told a day later from then on.
func BenchmarkUpdateNewDayOfAPlan(b *testing.B) {
	s, sc := benchStore(b)
	openPlan(b, s, sc)
	day := engine.Day(89)
	for b.Loop() {
		day++
		mustPut(b, s, sc, store.Once{}, []engine.Entry{{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(80)}}})
	}
}

// openPlan opens a plan with twelve decisions, each with the recommendation that
// it answers.
func openPlan(b *testing.B, s *Store, sc store.Scope) {
	_, err := s.Update(b.Context(), sc, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		plan := engine.DefaultPlan(0)
		plan.ID = "cut"
		if _, err := tx.InsertPlan(plan); err != nil {
			return nil, err
		}
		for i := range engine.Day(12) {
			d := engine.Decision{ID: fmt.Sprint(i), From: 10 + 7*i, Action: engine.Hold, Target: engine.Target{IntakeKcal: 2000}}
			if i == 0 {
				d.Action = engine.StartDeficit
			}
			if _, err := tx.InsertDecision("cut", d, make([]byte, 3000)); err != nil {
				return nil, err
			}
		}
		return noAnswer, nil
	})
	if err != nil {
		b.Fatal(err)
	}
}

// BenchmarkUpdate500New is a batch of a backfill: 125 days that follow each other.
func BenchmarkUpdate500New(b *testing.B) {
	s, sc := benchStore(b)
	day := engine.Day(1000)
	for b.Loop() {
		mustPut(b, s, sc, store.Once{}, keptDays(day, 125))
		day += 125
	}
}

// BenchmarkUpdate500Again sends one batch over and over.
func BenchmarkUpdate500Again(b *testing.B) {
	s, sc := benchStore(b)
	for b.Loop() {
		mustPut(b, s, sc, store.Once{}, keptDays(1000, 125))
	}
}

// BenchmarkUpdate500Days is a backfill of one weigh-in a day.
func BenchmarkUpdate500Days(b *testing.B) {
	s, sc := benchStore(b)
	day := engine.Day(1000)
	for b.Loop() {
		var entries []engine.Entry
		for range 500 {
			entries = append(entries, engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(80)}})
			day++
		}
		mustPut(b, s, sc, store.Once{}, entries)
	}
}

// BenchmarkUpdateGrouped is how many single writes a second 64 writers, each of a
// trainee of its own, get onto the disk for each one of a single writer: what one
// waits for the disk, they share. Both sides run in turns.
func BenchmarkUpdateGrouped(b *testing.B) {
	s, _ := benchStore(b)
	const writers = 64
	var scopes []store.Scope
	for i := range writers {
		sc := store.Scope{Tenant: "gym", Trainee: fmt.Sprintf("t%02d", i)}
		create(b, s, sc)
		mustPut(b, s, sc, store.Once{}, keptDays(0, 90))
		scopes = append(scopes, sc)
	}
	var sent atomic.Int64
	perSecond := func(scopes []store.Scope, each int) float64 {
		began := time.Now()
		var done sync.WaitGroup
		for _, sc := range scopes {
			done.Go(func() {
				for range each {
					n := sent.Add(1)
					once := store.Once{Method: "/m", RequestID: fmt.Sprint(n), BodyHash: "h"}
					mustPut(b, s, sc, once, []engine.Entry{{Day: 89, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(78 + float64(n%8)/10)}}})
				}
			})
		}
		done.Wait()
		return float64(len(scopes)*each) / time.Since(began).Seconds()
	}
	var ratios, alone, grouped []float64
	for b.Loop() {
		alone = append(alone, perSecond(scopes[:1], 100))
		grouped = append(grouped, perSecond(scopes, 100))
		ratios = append(ratios, grouped[len(grouped)-1]/alone[len(alone)-1])
	}
	median := func(v []float64) float64 { return slices.Sorted(slices.Values(v))[len(v)/2] }
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(ratios), "ratio")
	b.ReportMetric(12, "at_least")
	b.ReportMetric(median(alone), "alone/s")
	b.ReportMetric(median(grouped), "grouped/s")
}

// noWrite writes nothing and answers nothing.
func noWrite(store.Tx) (store.Answer, error) { return noAnswer, nil }
