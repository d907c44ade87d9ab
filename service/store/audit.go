package store

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"encoding/binary"
	"time"
)

// Audit is the trail of who did what. Records are never changed; they go with
// the trainee that they are about, and when they are too old (Sweep).
type Audit interface {
	// AddAudit adds a record that belongs to no write, such as of an export.
	// ErrNotFound when the scope has a trainee and there is no such one: nothing
	// may name a trainee after its erasure.
	AddAudit(ctx context.Context, s Scope, r AuditRecord) error
	// AuditTrail returns up to q.Limit of a tenant's records, the latest first.
	AuditTrail(ctx context.Context, tenant string, q AuditQuery) ([]AuditRecord, error)
}

// AuditRecord is one act. No health value is in it.
type AuditRecord struct {
	ID       string    // of 26 characters, which sort by time; made by NewAuditID of At
	At       time.Time // UTC, whole milliseconds
	Actor    string    // resource name of a credential; "operator"; "retention"
	Method   string    // short name of the method
	Trainee  string    // read only: that of the scope which it was added with; may be empty
	Resource string    // resource name of what was acted on
}

// AuditQuery selects records.
type AuditQuery struct {
	Trainee string // empty: of all, and those about none
	After   string // id, exclusive; empty: from the latest
	Limit   int    // at least 1
}

// auditText keeps the order of the bytes in the order of the text.
var auditText = base32.HexEncoding.WithPadding(base32.NoPadding)

// NewAuditID makes an id of 26 characters: 48 bits of milliseconds, so that ids
// sort by time, and 80 random ones, so that replicas need not agree on anything.
func NewAuditID(at time.Time) string {
	b := auditBytes(at)
	_, _ = rand.Read(b[6:]) // ends the process when the system has no randomness
	return auditText.EncodeToString(b[:])
}

// FirstAuditID returns what no id of that millisecond or later sorts before.
func FirstAuditID(at time.Time) string {
	b := auditBytes(at)
	return auditText.EncodeToString(b[:])
}

func auditBytes(at time.Time) (b [16]byte) {
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(max(0, at.UnixMilli())))
	copy(b[:6], ms[2:])
	return b
}
