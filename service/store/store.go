// Package store is the contract of the durable log: the truth that every
// window is derived from. Backends (sqlite, postgres) live in
// subpackages; storetest executes each sentence of this contract on every one
// of them.
//
// The shape: everything a trainee owns hangs on a head row (incarnation,
// revision). A write is one callback transaction that locks the head first,
// bumps its revision, and carries its idempotency record; so no write can
// forget any of the three. A read that must be consistent takes one snapshot.
//
// Two things are derived from the rest by the backend itself: in the transaction
// of each write the days that the engine reads, and after it who is due a talk.
// No write can forget either: talks are only shown of the head they were derived at.
package store

import (
	"context"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
)

// Scope names whose data is meant. Tenant comes from the credential only,
// trainee from the request. A scope of another tenant behaves in every respect
// like one that does not exist.
type Scope struct {
	Tenant  string
	Trainee string
}

// Head names one committed state of one trainee's data. Two equal heads name
// the same content for ever: the incarnation is random at creation and never
// reused, not even for the same id created again after an erasure, and the
// revision rises by one in the transaction of every write.
type Head struct {
	Incarnation string // 32 hex digits
	Revision    int64  // from 1
}

// Trainee is the person whose log is held.
type Trainee struct {
	ID          string
	DisplayName string
	TimeZone    string // IANA name; decides which civil day "today" is
	Profile     engine.Profile
	Created     time.Time // UTC, whole seconds
	Updated     time.Time
}

// Plan is an engine.Plan with what only the record needs.
type Plan struct {
	engine.Plan
	Created time.Time
	Updated time.Time
}

// Decision is an engine.Decision with what only the record needs.
type Decision struct {
	engine.Decision
	Recorded time.Time
	// Given is the recommendation that was answered, as it was shown, in the
	// service's encoding; nil when the decision answers none.
	Given []byte
}

// Snapshot is everything the engine reads of one trainee, at one head.
type Snapshot struct {
	Head    Head
	Trainee Trainee
	Plan    *Plan         // the open plan with its decisions; nil when none is open
	Window  engine.Window // every day from the asked first day to the last day with an entry
}

// Once makes a write happen once: a second write with the same request id
// returns the first one's answer and changes nothing.
type Once struct {
	Method    string // full RPC name: ids of different methods are independent
	RequestID string // empty: no idempotency record
	BodyHash  string // of the canonical request; the same id with another hash is ErrReused
}

// Answer encodes what the caller of a write is told. It runs inside the
// transaction with the head that the commit will have, and its result is what
// a replay returns.
type Answer func(Head) ([]byte, error)

// Write is a callback transaction's body. It may run more than once and must
// keep no state across runs. Any error rolls everything back.
type Write func(Tx) (Answer, error)

// Store is a durable backend. All methods are safe for concurrent use; every
// method honours its context and returns the sentinels of errors.go, wrapped.
type Store interface {
	Snapshots
	Reads
	Roster
	Writes
	Keys
	Audit
	Retention

	// Ping fails when the backend cannot serve.
	Ping(ctx context.Context) error
	// Close releases everything. Nothing may be called after it.
	Close() error
}

// Snapshots is what the window protocol needs.
type Snapshots interface {
	// Head returns the present head. ErrNotFound when there is no such trainee.
	// It sees every write acknowledged before it was called.
	Head(ctx context.Context, s Scope) (Head, error)
	// Snapshot returns head, trainee, open plan and the window from first on,
	// all read in one transaction. The window has First == first even when
	// nothing is logged. ErrNotFound when there is no such trainee.
	Snapshot(ctx context.Context, s Scope, first engine.Day) (Snapshot, error)
}

// Reads are single reads outside the window protocol.
type Reads interface {
	// View runs f over one read transaction. ErrNotFound when there is no such trainee.
	View(ctx context.Context, s Scope, f func(View) error) error
}

// View is one consistent read of one trainee.
type View interface {
	Head() Head
	// TimeZone is the trainee's, for whoever needs no more of it: most writes do not.
	TimeZone() string
	// Trainee fails when what is stored cannot be read.
	Trainee() (Trainee, error)
	// Plan returns a plan with its decisions. ErrNotFound when there is none of that id.
	Plan(id string) (Plan, error)
	// Plans returns up to limit plans with their decisions, by id, after the given id.
	Plans(after string, limit int) ([]Plan, error)
	// Decisions returns up to limit decisions of a plan, in order of recording, after the given id.
	// ErrNotFound when there is no such plan, or no such decision to start after.
	Decisions(plan, after string, limit int) ([]Decision, error)
	// Entries returns up to q.Limit entries in order of day, kind, key.
	Entries(q EntryQuery) ([]engine.Entry, error)
	// Upload returns where an upload stands. ErrNotFound before its first batch.
	Upload(id string) (Upload, error)
}

// EntryQuery selects entries. From and To are inclusive.
type EntryQuery struct {
	From, To engine.Day
	Kinds    []engine.Kind // empty: all
	After    *engine.ID    // exclusive; nil: from the start
	Limit    int           // at least 1
}

// Roster is the one read across trainees.
type Roster interface {
	// DueTalks returns up to q.Limit of a tenant's talks that are due on q.AsOf, in
	// order of first day, trainee, and place in the trainee's own list. Of each
	// trainee with an open plan they are what phase.DueTalks makes of the log, the
	// profile and that plan as the last write left them. It reads no log but those
	// of trainees who were written since their talks were derived, which a backend
	// does soon after a write by itself.
	DueTalks(ctx context.Context, tenant string, q DueQuery) ([]DueTalk, error)
}

// DueQuery selects talks.
type DueQuery struct {
	AsOf    engine.Day        // due from this day or before, and until this day or after
	Reasons []phase.DueReason // empty: all
	After   *DuePlace         // exclusive; nil: from the start
	Limit   int               // at least 1
}

// DueTalk is why one trainee is due a talk.
type DueTalk struct {
	Place DuePlace
	Plan  string // id of the open plan
	phase.Due
}

// DuePlace is where a talk stands in a tenant's list.
type DuePlace struct {
	From    engine.Day
	Trainee string
	Seq     int // from 1, of the trainee's own list
}

// Writes change one trainee's data.
type Writes interface {
	// Create makes a trainee with a new incarnation at revision 1 and runs w in
	// the same transaction, where the trainee reads as it is stored. ErrExists
	// when the id is taken. The id is the scope's; Created and Updated are set by
	// the store.
	Create(ctx context.Context, s Scope, once Once, t Trainee, w Write) ([]byte, error)
	// Update runs w in one transaction that bumps the head, and returns the
	// encoded answer: w's own, or on a replay the recorded one. ErrNotFound when
	// there is no such trainee.
	Update(ctx context.Context, s Scope, once Once, w Write) ([]byte, error)
	// Erase removes the trainee and everything recorded for it: idempotency records,
	// uploads, audit records, and keys bound to it included. It adds one audit record,
	// which must not name the trainee. ErrNotFound when there is no such trainee.
	Erase(ctx context.Context, s Scope, by AuditRecord) (Erased, error)
}

// Erased counts what an erasure removed.
type Erased struct{ Entries, Plans, Decisions int }

// Tx is a write transaction. Its reads see its own writes.
type Tx interface {
	View
	// PutEntries inserts or replaces entries by natural key and rolls up the
	// touched days. The order of entries does not matter; two of one key are a
	// programming error and panic.
	PutEntries(entries []engine.Entry) error
	// DeleteEntry removes one entry and rolls its day up. ErrNotFound when there is none.
	DeleteEntry(id engine.ID) error
	PutTrainee(t Trainee) error // replaces display name, zone and profile
	// InsertPlan adds a plan; its decisions come by InsertDecision. ErrExists when
	// the id is taken, or when it would be a second open plan.
	InsertPlan(p engine.Plan) (Plan, error)
	// PutPlan replaces a plan's own fields; its decisions stay as they are.
	// ErrNotFound when there is none, ErrExists when it would be a second open plan.
	PutPlan(p engine.Plan) (Plan, error)
	// InsertDecision adds a decision to a plan. ErrExists when the plan has one of
	// that id, ErrNotFound when there is no such plan.
	InsertDecision(plan string, d engine.Decision, given []byte) (Decision, error)
	// PutUpload records where an upload stands.
	PutUpload(u Upload) error
	// Audit adds a record of this write to the audit trail; the trainee is the write's.
	Audit(r AuditRecord) error
}

// Upload is a backfill's progress: batches below NextSeq are applied, in the
// transactions that raised it, and are never applied again.
type Upload struct {
	ID        string
	SHA256    string // of the whole content: the same id with another content is refused
	NextSeq   int64
	Committed int64 // entries applied so far
}
