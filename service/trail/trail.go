// Package trail makes the records of the audit trail.
package trail

import (
	"context"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// Actors that are no credential.
const (
	Operator  = "operator"  // at the command line
	Retention = "retention" // what a tenant has set of it
)

// Of is the record of an act of the caller: the short name of the method, and the
// resource name of what it acts on.
func Of(ctx context.Context, method, resource string, now time.Time) store.AuditRecord {
	return By(access.From(ctx).Actor, method, resource, now)
}

// By is the record of an act of anybody.
func By(actor, method, resource string, now time.Time) store.AuditRecord {
	now = now.UTC().Truncate(time.Millisecond)
	return store.AuditRecord{ID: store.NewAuditID(now), At: now, Actor: actor, Method: method, Resource: resource}
}

// Names gives the erased a name that tells nothing of them, but by which whoever has
// the key pepper and knows whom to look for can verify that they were erased.
type Names struct{ secret []byte }

// NewNames derives the names' secret: HKDF with SHA-256 of the pepper, without salt,
// for "steelyard erased trainees", 32 bytes.
func NewNames(pepper []byte) (Names, error) {
	secret, err := hkdf.Key(sha256.New, pepper, nil, "steelyard erased trainees", sha256.Size)
	if err != nil {
		return Names{}, fmt.Errorf("secret of the names of the erased: %w", err)
	}
	return Names{secret}, nil
}

// Erased is the name of an erased trainee: trainees/ and the first 16 hex digits of
// the HMAC with SHA-256 of tenant, a NUL, trainee.
func (n Names) Erased(s store.Scope) string {
	m := hmac.New(sha256.New, n.secret)
	m.Write([]byte(s.Tenant + "\x00" + s.Trainee))
	return "trainees/" + hex.EncodeToString(m.Sum(nil))[:16]
}
