package store

import (
	"context"
	"time"
)

// Retention is how long things are kept.
type Retention interface {
	// IdleDays returns after how many days without a write a tenant's trainees are
	// erased; 0, also of a tenant that was never heard of, is never.
	IdleDays(ctx context.Context, tenant string) (int, error)
	// SetIdleDays changes it and adds the audit record in the same transaction.
	SetIdleDays(ctx context.Context, tenant string, days int, by AuditRecord) error
	// Sweep removes what is over, up to limit things of a kind, and says whether
	// there may be more: trainees that nothing was written of for longer than their
	// tenant's idle days (as Erase, each in its own transaction, by the actor
	// "retention"), and idempotency records and audit records made before the times
	// given. Any number of programs may sweep at once. On an error it returns what
	// was removed before.
	Sweep(ctx context.Context, q SweepQuery) (Swept, error)
}

// SweepQuery says what is over.
type SweepQuery struct {
	Now                           time.Time
	RequestIDsBefore, AuditBefore time.Time
	Limit                         int // at least 1
	// Erasure makes the audit record of an erasure.
	Erasure func(Scope) AuditRecord
}

// IdleBefore returns the time since which something must have been written of a
// trainee of a tenant with so many idle days.
func (q SweepQuery) IdleBefore(idleDays int) time.Time {
	return q.Now.Add(-time.Duration(idleDays) * 24 * time.Hour)
}

// Swept is what a sweep removed.
type Swept struct {
	Erased     []Scope // their snapshots are to be forgotten
	RequestIDs int
	Audit      int
	More       bool
}
