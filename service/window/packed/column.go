package packed

import (
	"encoding/binary"
	"math"

	"example.com/steelyard/engine"
)

// unit is what the numbers of a column are multiples of: the n-th multiple is
// n / per * by / over, rounded as engine.Mass and engine.Energy round, so that a
// weight that was given in tenths of a pound is a multiple of a tenth of a pound.
type unit struct{ per, by, over float64 }

// Exact by definition: the international pound in kg and the thermochemical
// calorie in J.
const (
	kgPerPound = 0.45359237
	kJPerKcal  = 4.184
)

// units are tried in this order. Their places are written: a change is a new schema.
var units = [...]unit{
	{1, 1, 1}, {10, 1, 1}, {100, 1, 1}, {1000, 1, 1},
	{1, kgPerPound, 1}, {10, kgPerPound, 1}, {100, kgPerPound, 1},
	{1, 1, kJPerKcal}, {10, 1, kJPerKcal},
}

var unit1, milli = units[0], units[3]

// maxWhole is where a float64 stops to hold every whole number.
const maxWhole = 1 << 53

func (u unit) value(n int64) float64 { return float64(n) / u.per * u.by / u.over }

// whole returns which multiple of the unit v is, and false when it is none.
func (u unit) whole(v float64) (int64, bool) {
	f := math.Round(v * u.over / u.by * u.per)
	if !(math.Abs(f) <= maxWhole) { // a NaN is neither
		return 0, false
	}
	n := int64(f)
	return n, math.Float64bits(u.value(n)) == math.Float64bits(v)
}

// fitting returns the unit of which the fewest known numbers are no multiples.
func fitting(days []engine.WindowDay, c column) (best int) {
	least := math.MaxInt
	for u, unit := range units {
		odd := 0
		for i := range days {
			if o := c.of(&days[i]); o.OK {
				if _, ok := unit.whole(o.V); !ok {
					odd++
				}
			}
		}
		if odd < least {
			best, least = u, odd
		}
		if odd == 0 {
			break
		}
	}
	return best
}

// column is one of the numbers that most days have. Its place is written.
type column int

const columns = column(6)

// of returns the number of a day. A switch, for it is inlined.
func (c column) of(d *engine.WindowDay) *engine.Opt {
	switch c {
	case 0:
		return &d.WeightKg
	case 1:
		return &d.IntakeKcal
	case 2:
		return &d.ProteinG
	case 3:
		return &d.Steps
	case 4:
		return &d.ActivityKcal
	default:
		return &d.RefeedKcal
	}
}

// A column starts with a byte: 0 when nothing is known, else the unit's place
// plus 1, plus isFull when all is known. A bitmap of what is known follows unless
// it is full, then the known numbers: 0 and the number whole, or 1 more than the
// zigzag of the difference to the multiple before.
const isFull = 1 << 7

func (w *writer) column(days []engine.WindowDay, c column) {
	known := 0
	for i := range days {
		if c.of(&days[i]).OK {
			known++
		}
	}
	if known == 0 {
		w.byte(0)
		return
	}
	u := fitting(days, c)
	if known == len(days) {
		w.byte(byte(u+1) | isFull)
	} else {
		w.byte(byte(u + 1))
		bitmap := make([]byte, (len(days)+7)/8)
		for i := range days {
			if c.of(&days[i]).OK {
				bitmap[i/8] |= 1 << (i % 8)
			}
		}
		w.buf = append(w.buf, bitmap...)
	}
	last := int64(0)
	for i := range days {
		o := c.of(&days[i])
		if !o.OK {
			continue
		}
		if n, ok := units[u].whole(o.V); ok {
			w.uvarint(zigzag(n-last) + 1)
			last = n
		} else {
			w.uvarint(0)
			w.raw(o.V)
		}
	}
}

func (r *reader) column(days []engine.WindowDay, c column) {
	kind := r.byte()
	if kind == 0 {
		return
	}
	u := int(kind&^isFull) - 1
	if u < 0 || u >= len(units) {
		r.fail()
		return
	}
	var bitmap []byte
	if kind&isFull == 0 {
		size := (len(days) + 7) / 8
		if size > len(r.rest) {
			r.fail()
			return
		}
		bitmap = r.take(size)
	}
	// The commonest units are ones and plain decimals: no division or one, where
	// the result of all three would be exactly the same.
	unit := units[u]
	ones := unit == unit1
	plain := unit.by == 1 && unit.over == 1
	rest, last := r.rest, int64(0)
	for i := range days {
		if bitmap != nil && bitmap[i/8]&(1<<(i%8)) == 0 {
			continue
		}
		var token uint64
		switch { // one or two bytes, nearly always
		case len(rest) >= 2 && rest[0] < 0x80:
			token, rest = uint64(rest[0]), rest[1:]
		case len(rest) >= 2 && rest[1] < 0x80:
			token, rest = uint64(rest[0]&0x7f)|uint64(rest[1])<<7, rest[2:]
		default:
			v, n := binary.Uvarint(rest)
			if n <= 0 {
				r.fail()
				return
			}
			token, rest = v, rest[n:]
		}
		o := c.of(&days[i])
		o.OK = true
		switch {
		case token == 0:
			if len(rest) < 8 {
				r.fail()
				return
			}
			o.V, rest = math.Float64frombits(binary.LittleEndian.Uint64(rest)), rest[8:]
			continue
		case ones:
			last += unzigzag(token - 1)
			o.V = float64(last)
		case plain:
			last += unzigzag(token - 1)
			o.V = float64(last) / unit.per
		default:
			last += unzigzag(token - 1)
			o.V = unit.value(last)
		}
	}
	r.rest = rest
}
