package rows

import (
	"encoding/binary"

	"example.com/steelyard/engine"
)

// A block is the packed days of 32 that follow each other: per row, the reading of a
// window costs more than per day. Of each day it has the place, the length, and the
// packed day, ascending; a day without entries is not in it.
const blockBits = 5

// Block returns the number of the block that a day is in, ascending with the days.
func Block(day engine.Day) int64 { return int64(day) >> blockBits }

// PackedDay is a day of a block; no bytes: the day has no entries.
type PackedDay struct {
	Day    engine.Day
	Packed []byte
}

// EachDay calls f for the days of a block in their order.
func EachDay(block int64, stored []byte, f func(PackedDay) error) error {
	for last := -1; len(stored) > 0; {
		at := int(stored[0])
		size, n := binary.Uvarint(stored[1:])
		if at <= last || at>>blockBits != 0 || n <= 0 || size == 0 || size > uint64(len(stored)-1-n) {
			return errMalformed
		}
		end := 1 + n + int(size)
		if err := f(PackedDay{engine.Day(block<<blockBits) + engine.Day(at), stored[1+n : end]}); err != nil {
			return err
		}
		last, stored = at, stored[end:]
	}
	return nil
}

// Splice returns a block with some of its days, ascending, as they are now; nothing
// when none is left.
func Splice(block int64, stored []byte, changed []PackedDay) ([]byte, error) {
	size := len(stored)
	for _, d := range changed {
		size += 1 + binary.MaxVarintLen16 + len(d.Packed)
	}
	out := make([]byte, 0, size)
	put := func(d PackedDay) {
		if len(d.Packed) > 0 {
			out = append(out, byte(int64(d.Day)-block<<blockBits))
			out = binary.AppendUvarint(out, uint64(len(d.Packed)))
			out = append(out, d.Packed...)
		}
	}
	err := EachDay(block, stored, func(d PackedDay) error {
		for len(changed) > 0 && changed[0].Day < d.Day {
			put(changed[0])
			changed = changed[1:]
		}
		if len(changed) > 0 && changed[0].Day == d.Day {
			d, changed = changed[0], changed[1:]
		}
		put(d)
		return nil
	})
	for _, d := range changed {
		put(d)
	}
	if len(out) == 0 {
		return nil, err
	}
	return out, err
}
