package service

import (
	"context"
	"time"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

const (
	// requestIDsKept is how long a request id is known: a day is promised.
	requestIDsKept = 48 * time.Hour
	// sweepStep is how many things of a kind one step removes.
	sweepStep = 200
	// sweepSteps bounds a sweep; what is left waits for the next.
	sweepSteps = 500
)

// auditKept is how long audit records are kept.
func (c Config) auditKept() time.Duration { return time.Duration(c.AuditDays) * 24 * time.Hour }

// sweepAll removes step by step what is over as of now: idle trainees, old request
// ids, old audit records. On an error it returns what was removed before.
func sweepAll(ctx context.Context, s store.Retention, names trail.Names, now time.Time, auditKept time.Duration) (store.Swept, error) {
	q := store.SweepQuery{
		Now: now, RequestIDsBefore: now.Add(-requestIDsKept), AuditBefore: now.Add(-auditKept), Limit: sweepStep,
		Erasure: func(sc store.Scope) store.AuditRecord {
			return trail.By(trail.Retention, "EraseTrainee", names.Erased(sc), now)
		},
	}
	var all store.Swept
	for range sweepSteps {
		step, err := s.Sweep(ctx, q)
		all.Erased = append(all.Erased, step.Erased...)
		all.RequestIDs += step.RequestIDs
		all.Audit += step.Audit
		all.More = step.More
		if err != nil || !step.More {
			return all, err
		}
	}
	return all, nil
}

// Sweep removes what is over, once: what serve does every hour. Windows of erased
// trainees that running servers hold are never shown again; they leave with their
// age.
func (k *Keyring) Sweep(ctx context.Context, cfg Config) (store.Swept, error) {
	names, err := trail.NewNames(k.pepper)
	if err != nil {
		return store.Swept{}, err
	}
	return sweepAll(ctx, k.store, names, time.Now(), cfg.WithDefaults().auditKept())
}
