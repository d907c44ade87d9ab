package redisbag

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window/packed"
)

// sealer names and seals values with keys derived from the secret (HKDF, RFC
// 5869). Each trainee has a sealing key of its own, so that the random nonces
// stay far below the 2^32 values that one AES-GCM key may seal (NIST SP
// 800-38D, 8.3), however many trainees there are.
type sealer struct {
	schema  byte
	naming  []byte
	sealing []byte
}

// Labels of the derivations. Another use of the secret must have another label.
const (
	salt         = "steelyard window bag"
	forNames     = "names"
	forSealing   = "sealing"
	keyBytes     = 32
	prefix       = "w"
	nameBytes    = 24      // 192 bits: two trainees never share a name
	headerBytes  = 1 + 12  // schema, nonce
	minimumBytes = 13 + 16 // and the tag
)

var errSealed = errors.New("redis bag: the value does not open")

func newSealer(secret []byte) (sealer, error) {
	if len(secret) < MinSecret {
		return sealer{}, fmt.Errorf("redis bag: the secret has %d bytes, not %d or more", len(secret), MinSecret)
	}
	prk, err := hkdf.Extract(sha256.New, secret, []byte(salt))
	if err != nil {
		return sealer{}, fmt.Errorf("redis bag: derive keys: %w", err)
	}
	naming, err := hkdf.Expand(sha256.New, prk, forNames, keyBytes)
	if err != nil {
		return sealer{}, fmt.Errorf("redis bag: derive keys: %w", err)
	}
	sealing, err := hkdf.Expand(sha256.New, prk, forSealing, keyBytes)
	if err != nil {
		return sealer{}, fmt.Errorf("redis bag: derive keys: %w", err)
	}
	return sealer{schema: packed.Schema, naming: naming, sealing: sealing}, nil
}

// whose is the scope in bytes, no two alike whatever the ids hold.
func whose(s store.Scope) []byte {
	b := binary.AppendUvarint(make([]byte, 0, 4+len(s.Tenant)+len(s.Trainee)), uint64(len(s.Tenant)))
	b = append(b, s.Tenant...)
	return append(b, s.Trainee...)
}

// name is the key in Redis: one a trainee, so a cluster needs no hash tag.
func (s sealer) name(sc store.Scope) string {
	mac := hmac.New(sha256.New, s.naming)
	mac.Write(whose(sc))
	return prefix + strconv.Itoa(int(s.schema)) + ":" + base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:nameBytes])
}

// seal encrypts and binds to the scope and the schema.
func (s sealer) seal(sc store.Scope, plain []byte) []byte {
	out := make([]byte, headerBytes, headerBytes+len(plain)+16)
	out[0] = s.schema
	_, _ = rand.Read(out[1:]) // it never fails
	return s.aead(sc).Seal(out, out[1:headerBytes], plain, s.bound(sc))
}

func (s sealer) open(sc store.Scope, value []byte) ([]byte, error) {
	if len(value) < minimumBytes || value[0] != s.schema {
		return nil, errSealed
	}
	plain, err := s.aead(sc).Open(nil, value[1:headerBytes], value[headerBytes:], s.bound(sc))
	if err != nil {
		return nil, errSealed
	}
	return plain, nil
}

// bound is what a value is bound to beside its key.
func (s sealer) bound(sc store.Scope) []byte { return append(whose(sc), s.schema) }

func (s sealer) aead(sc store.Scope) cipher.AEAD {
	mac := hmac.New(sha256.New, s.sealing)
	mac.Write(whose(sc))
	block, err := aes.NewCipher(mac.Sum(nil))
	if err != nil {
		panic(err) // the key has the right length
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		panic(err) // AES has the right block
	}
	return gcm
}
