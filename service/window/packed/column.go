package packed

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"

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
// plus 1, how wide its tokens are, and isFull when all is known. A bitmap of what
// is known follows unless it is full, then a token of the same width for each
// known number: 1 more than the zigzag of the difference to the multiple before,
// or 0 for a number that follows whole, behind all tokens.
const (
	isFull    = 1 << 7
	widthAt   = 5 // 1, 2 or 4 bytes, as 0, 1 or 2
	unitMask  = 1<<widthAt - 1
	widthMask = 3
	maxToken  = math.MaxUint32
)

// tokens returns the token of each known number, and the numbers that have none.
func tokens(days []engine.WindowDay, c column, u unit) (out []uint32, odd []float64) {
	last := int64(0)
	for i := range days {
		o := c.of(&days[i])
		if !o.OK {
			continue
		}
		n, ok := u.whole(o.V)
		// The difference of two multiples fits; 1 more than its zigzag may not.
		if step := zigzag(n - last); ok && step < maxToken {
			out = append(out, uint32(step)+1)
			last = n
		} else {
			out, odd = append(out, 0), append(odd, o.V)
		}
	}
	return out, odd
}

func (w *writer) column(days []engine.WindowDay, c column) {
	u := fitting(days, c)
	out, odd := tokens(days, c, units[u])
	if len(out) == 0 {
		w.byte(0)
		return
	}
	width := 0
	switch most := slices.Max(out); {
	case most > math.MaxUint16:
		width = 2
	case most > math.MaxUint8:
		width = 1
	}
	kind := byte(u+1) | byte(width)<<widthAt
	if len(out) == len(days) {
		w.byte(kind | isFull)
	} else {
		w.byte(kind)
		bitmap := make([]byte, (len(days)+7)/8)
		for i := range days {
			if c.of(&days[i]).OK {
				bitmap[i/8] |= 1 << (i % 8)
			}
		}
		w.buf = append(w.buf, bitmap...)
	}
	for _, t := range out {
		switch width {
		case 0:
			w.byte(byte(t))
		case 1:
			w.buf = binary.LittleEndian.AppendUint16(w.buf, uint16(t))
		default:
			w.buf = binary.LittleEndian.AppendUint32(w.buf, t)
		}
	}
	for _, v := range odd {
		w.raw(v)
	}
}

// wordDays is how many days one word of a bitmap tells of.
const wordDays = 64

// bitmap tells which of so many days a column knows; without bytes it is all.
type bitmap struct {
	bytes []byte
	days  int
}

// word tells of the days from base on, which is a multiple of wordDays.
func (b bitmap) word(base int) (w uint64) {
	if b.bytes == nil {
		return math.MaxUint64 >> (wordDays - min(wordDays, b.days-base))
	}
	rest := b.bytes[base/8:]
	if len(rest) >= 8 {
		return binary.LittleEndian.Uint64(rest)
	}
	for i, v := range rest {
		w |= uint64(v) << (8 * i)
	}
	return w
}

// bitmap reads one, and returns how many days it knows.
func (r *reader) bitmap(days int, full bool) (b bitmap, known int) {
	b.days = days
	if full {
		return b, days
	}
	size := (days + 7) / 8
	if size == 0 || size > len(r.rest) || days%8 != 0 && r.rest[size-1]>>(days%8) != 0 { // of days that there are not
		r.fail()
		return b, 0
	}
	b.bytes = r.take(size)
	for base := 0; base < days; base += wordDays {
		known += bits.OnesCount64(b.word(base))
	}
	return b, known
}

// column is what decoding spends its time on: no branch in it depends on a
// number, but for those that are written whole.
func (r *reader) column(days []engine.WindowDay, c column) {
	kind := r.byte()
	if kind == 0 {
		return
	}
	u, width := int(kind&unitMask)-1, int(kind>>widthAt&widthMask)
	if u < 0 || u >= len(units) || width > 2 {
		r.fail()
		return
	}
	b, known := r.bitmap(len(days), kind&isFull != 0)
	if r.bad || known<<width > len(r.rest) {
		r.fail()
		return
	}
	in := r.take(known << width)
	// The commonest units are ones and plain decimals: no division or one, where
	// the result of all three would be exactly the same.
	unit := units[u]
	ones := unit == unit1
	plain := unit.by == 1 && unit.over == 1
	last := int64(0)
	for base := 0; base < len(days); base += wordDays {
		for word := b.word(base); word != 0; word &= word - 1 {
			var token uint64
			switch width {
			case 0:
				token, in = uint64(in[0]), in[1:]
			case 1:
				token, in = uint64(binary.LittleEndian.Uint16(in)), in[2:]
			default:
				token, in = uint64(binary.LittleEndian.Uint32(in)), in[4:]
			}
			o := c.of(&days[base+bits.TrailingZeros64(word)])
			o.OK = true
			if token == 0 {
				o.V = r.raw()
				continue
			}
			switch last += unzigzag(token - 1); {
			case ones:
				o.V = float64(last)
			case plain:
				o.V = float64(last) / unit.per
			default:
				o.V = unit.value(last)
			}
		}
	}
}
