// Package packed is the byte form of a snapshot, for a bag outside the process:
// about a kilobyte for 90 full days.
//
// Numbers come back as exactly the float64 that went in. Those of a column are
// written as whole multiples of a unit that fits them (a tenth of a kilocalorie,
// a thousandth of a kilogram, a tenth of a pound), each as the difference to the
// one before; a number that is no exact multiple is written whole.
//
// The form is for a cache and promises nothing over time: the first byte is
// the schema, and bytes of another schema are refused, as is any damage.
package packed

import (
	"encoding/binary"
	"errors"
	"hash/crc32"

	"example.com/steelyard/service/store"
)

// Schema names the form. Raise it with every change of the form and of the
// types that it carries.
const Schema = 2

// MaxDays bounds the days of a window, so that a few bytes cannot ask for much
// memory. It is over twenty years.
const MaxDays = 1 << 13

// Errors. ErrDamaged covers whatever is not a snapshot in full.
var (
	ErrTooLong = errors.New("packed: the window has too many days")
	ErrSchema  = errors.New("packed: another schema")
	ErrDamaged = errors.New("packed: damaged")
)

// checksum finds what a bag spoils; it is no protection against forgery.
var checksum = crc32.MakeTable(crc32.Castagnoli)

// Append appends the packed snapshot to dst. ErrTooLong when its window has
// more than MaxDays. Of its instants it keeps the instant, in UTC.
func Append(dst []byte, s store.Snapshot) ([]byte, error) {
	if len(s.Window.Days) > MaxDays {
		return dst, ErrTooLong
	}
	w := writer{buf: append(dst, Schema)}
	w.head(s.Head)
	w.trainee(s.Trainee)
	w.plan(s.Plan)
	w.window(s.Window)
	return binary.LittleEndian.AppendUint32(w.buf, crc32.Checksum(w.buf[len(dst):], checksum)), nil
}

// Decode reads what Append wrote. ErrSchema or ErrDamaged; it never panics.
func Decode(data []byte) (store.Snapshot, error) {
	if len(data) == 0 {
		return store.Snapshot{}, ErrDamaged
	}
	if data[0] != Schema {
		return store.Snapshot{}, ErrSchema
	}
	end := len(data) - crc32.Size
	if end < 1 || crc32.Checksum(data[:end], checksum) != binary.LittleEndian.Uint32(data[end:]) {
		return store.Snapshot{}, ErrDamaged
	}
	r := reader{rest: data[1:end]}
	s := store.Snapshot{Head: r.head(), Trainee: r.trainee(), Plan: r.plan(), Window: r.window()}
	if r.bad || len(r.rest) != 0 {
		return store.Snapshot{}, ErrDamaged
	}
	return s, nil
}
