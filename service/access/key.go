// Package access decides who is calling and what they may do: API keys,
// principals, and the scope that each method declares in the contract.
package access

import (
	"bytes"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	stdhash "hash"
	"hash/crc32"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store"
)

// Prefix starts every key, so that a secret scanner can find a leaked one.
const Prefix = "steelyard"

// A key reads steelyard_<id>_<secret>_<checksum>: 16 characters of public id,
// 52 of secret (256 bits), 7 of checksum. Lower-case base32 without padding.
const (
	idBytes     = 10
	secretBytes = 32
	sumChars    = 7
)

var (
	encoding    = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)
	tenantShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)
)

// Issue makes a key for all of a tenant; see Fill.
func Issue(pepper []byte, tenant, name string, scopes []string, created, expires time.Time) (token string, k store.Key, err error) {
	return Fill(pepper, store.Key{Tenant: tenant, Name: name, Scopes: scopes, Created: created, Expires: expires})
}

// Fill makes what a key lacks: its secret, and its id where it has none. The token
// is shown once and never stored; what is stored is a hash keyed with the pepper. A
// zero expiry never expires. A key that is bound to one trainee cannot manage the
// tenant.
func Fill(pepper []byte, k store.Key) (token string, _ store.Key, err error) {
	if !tenantShape.MatchString(k.Tenant) {
		return "", store.Key{}, errors.New("tenant: lower-case letters, digits and hyphens, 1 to 63, starting with a letter or digit")
	}
	if len(k.Scopes) == 0 {
		return "", store.Key{}, errors.New("scopes: at least one is needed")
	}
	for _, s := range k.Scopes {
		if _, ok := ParseScope(s); !ok {
			return "", store.Key{}, fmt.Errorf("scopes: %q is not one of %s", s, strings.Join(ScopeNames(), ", "))
		}
	}
	if k.Trainee != "" && slices.Contains(k.Scopes, AdminScope) {
		return "", store.Key{}, fmt.Errorf("scopes: a key for one trainee cannot hold %s", AdminScope)
	}
	if k.ID == "" {
		k.ID = randomText(idBytes)
	}
	secret := randomText(secretBytes)
	k.Hash = hash(pepper, secret)
	body := Prefix + "_" + k.ID + "_" + secret
	return body + "_" + checksum(body), k, nil
}

// AdminScope lets its holder manage the tenant: its keys too.
var AdminScope = ScopeName(steelyardv1.Scope_SCOPE_ADMIN)

// RequestedID is the id of a key that is made for a request id of a method: the same
// one each time, so that the same request cannot make a second key, and nothing that
// anybody else could foresee.
func RequestedID(pepper []byte, tenant, method, requestID string) (string, error) {
	secret, err := hkdf.Key(sha256.New, pepper, nil, "steelyard key ids", sha256.Size)
	if err != nil {
		return "", fmt.Errorf("secret of key ids: %w", err)
	}
	m := hmac.New(sha256.New, secret)
	m.Write([]byte(tenant + "\x00" + method + "\x00" + requestID))
	return encoding.EncodeToString(m.Sum(nil)[:idBytes]), nil
}

// split takes a token apart. It fails without a look at any store when the
// shape or the checksum is wrong.
func split(token string) (id, secret string, ok bool) {
	body, sum, found := cutLast(token, "_")
	if !found || checksum(body) != sum {
		return "", "", false
	}
	rest, ours := strings.CutPrefix(body, Prefix+"_")
	id, secret, whole := strings.Cut(rest, "_")
	return id, secret, ours && whole
}

func hash(pepper []byte, secret string) []byte {
	h := hasherOf(pepper)
	k := h.ready.Get().(*keyed)
	defer h.ready.Put(k)
	return bytes.Clone(k.hash(secret))
}

// matches reports whether it is the hash of a secret, in a time that does not tell
// where the two differ.
func matches(pepper []byte, secret string, want []byte) bool {
	h := hasherOf(pepper)
	k := h.ready.Get().(*keyed)
	defer h.ready.Put(k)
	return hmac.Equal(k.hash(secret), want)
}

// keyed is a keyed hash, and room for what it finds.
type keyed struct {
	mac stdhash.Hash
	sum [sha256.Size]byte
}

// hash is good until the next one.
func (k *keyed) hash(secret string) []byte {
	k.mac.Reset()
	k.mac.Write([]byte(secret))
	return k.mac.Sum(k.sum[:0])
}

// hasher has hashes that are keyed with a pepper ready, for the keying takes
// longer than the hashing.
type hasher struct {
	pepper []byte
	ready  sync.Pool // of *keyed
}

// lastHasher is of the pepper last used: a process has one.
var lastHasher atomic.Pointer[hasher]

func hasherOf(pepper []byte) *hasher {
	if h := lastHasher.Load(); h != nil && bytes.Equal(h.pepper, pepper) {
		return h
	}
	h := &hasher{pepper: bytes.Clone(pepper)}
	h.ready.New = func() any { return &keyed{mac: hmac.New(sha256.New, h.pepper)} }
	lastHasher.Store(h)
	return h
}

func checksum(body string) string {
	var sum [crc32.Size]byte
	binary.BigEndian.PutUint32(sum[:], crc32.ChecksumIEEE([]byte(body)))
	var text [sumChars]byte
	encoding.Encode(text[:], sum[:])
	return string(text[:])
}

// randomText panics never: crypto/rand.Read ends the process when the system
// has no randomness.
func randomText(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b)
	return encoding.EncodeToString(b)
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}
