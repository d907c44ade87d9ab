package packed

import (
	"encoding/binary"
	"math"
	"time"

	"example.com/steelyard/engine"
)

// writer appends. A text or a number that comes again is written as its place
// among those written before.
type writer struct {
	buf   []byte
	texts map[string]uint64
	nums  map[uint64]uint64
}

func (w *writer) byte(b byte)      { w.buf = append(w.buf, b) }
func (w *writer) uvarint(v uint64) { w.buf = binary.AppendUvarint(w.buf, v) }
func (w *writer) varint(v int64)   { w.buf = binary.AppendVarint(w.buf, v) }
func (w *writer) raw(v float64) {
	w.buf = binary.LittleEndian.AppendUint64(w.buf, math.Float64bits(v))
}

// flags writes up to eight yes-or-no in a byte.
func (w *writer) flags(set ...bool) {
	var b byte
	for i, s := range set {
		if s {
			b |= 1 << i
		}
	}
	w.byte(b)
}

func (w *writer) text(s string) {
	if i, ok := w.texts[s]; ok {
		w.uvarint(i)
		return
	}
	if w.texts == nil {
		w.texts = map[string]uint64{}
	}
	w.texts[s] = uint64(len(w.texts)) + 1
	w.uvarint(0)
	w.uvarint(uint64(len(s)))
	w.buf = append(w.buf, s...)
}

// num writes a number by itself: thousandths when they are exact.
func (w *writer) num(v float64) {
	if n, ok := milli.whole(v); ok {
		w.uvarint(zigzag(n) + 1)
		return
	}
	w.uvarint(0)
	w.raw(v)
}

// opt writes a number that may be unknown: again one seen before, or new.
func (w *writer) opt(o engine.Opt) {
	if !o.OK {
		w.uvarint(0)
		return
	}
	bits := math.Float64bits(o.V)
	if i, ok := w.nums[bits]; ok {
		w.uvarint(i + 2)
		return
	}
	if w.nums == nil {
		w.nums = map[uint64]uint64{}
	}
	w.nums[bits] = uint64(len(w.nums))
	w.uvarint(1)
	w.num(o.V)
}

func (w *writer) instant(t time.Time) {
	w.varint(t.Unix())
	w.uvarint(uint64(t.Nanosecond()))
}

// reader takes from the front. After the first failure everything reads as
// zero and bad stays set.
type reader struct {
	rest  []byte
	bad   bool
	texts []string
	nums  []float64
}

// fail ends the reading: what follows has no place to be read from.
func (r *reader) fail() {
	r.bad, r.rest = true, nil
}

func (r *reader) byte() byte {
	if len(r.rest) == 0 {
		r.fail()
		return 0
	}
	b := r.rest[0]
	r.rest = r.rest[1:]
	return b
}

func (r *reader) uvarint() uint64 {
	if len(r.rest) > 0 && r.rest[0] < 0x80 { // as most are
		return uint64(r.byte())
	}
	v, n := binary.Uvarint(r.rest)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.rest = r.rest[n:]
	return v
}

func (r *reader) varint() int64 { return unzigzag(r.uvarint()) }

func (r *reader) int() int { return int(r.varint()) }

// small reads a number that has to fit in a type of so many bits.
func (r *reader) small(bits int) uint64 {
	v := r.uvarint()
	if v>>bits != 0 {
		r.fail()
		return 0
	}
	return v
}

func (r *reader) raw() float64 { return math.Float64frombits(binary.LittleEndian.Uint64(r.take(8))) }

// take always returns n bytes: zeros after a failure, where n is small.
func (r *reader) take(n int) []byte {
	if len(r.rest) < n {
		r.fail()
		return make([]byte, n)
	}
	b := r.rest[:n]
	r.rest = r.rest[n:]
	return b
}

// count reads how many things of at least size bytes each follow.
func (r *reader) count(size int) int {
	n := r.uvarint()
	if n > uint64(len(r.rest)/size) {
		r.fail()
		return 0
	}
	return int(n)
}

func (r *reader) text() string {
	i := r.uvarint()
	if i == 0 {
		s := string(r.take(r.count(1)))
		if r.texts == nil {
			r.texts = make([]string, 0, 8) // few have more
		}
		r.texts = append(r.texts, s)
		return s
	}
	if i > uint64(len(r.texts)) {
		r.fail()
		return ""
	}
	return r.texts[i-1]
}

func (r *reader) num() float64 {
	u := r.uvarint()
	if u == 0 {
		return r.raw()
	}
	return milli.value(unzigzag(u - 1))
}

func (r *reader) opt() engine.Opt {
	switch i := r.uvarint(); {
	case r.bad || i == 0:
		return engine.Opt{}
	case i == 1:
		v := r.num()
		r.nums = append(r.nums, v)
		return engine.Some(v)
	case i-2 < uint64(len(r.nums)):
		return engine.Some(r.nums[i-2])
	}
	r.fail()
	return engine.Opt{}
}

func (r *reader) instant() time.Time {
	sec, nsec := r.varint(), r.uvarint()
	if nsec >= uint64(time.Second) {
		r.fail()
		return time.Time{}
	}
	return time.Unix(sec, int64(nsec)).UTC()
}

// day reads a day as the difference to another.
func (r *reader) day(from engine.Day) engine.Day {
	d := int64(from) + r.varint()
	if int64(engine.Day(d)) != d {
		r.fail()
		return 0
	}
	return engine.Day(d)
}

func zigzag(n int64) uint64   { return uint64(n<<1) ^ uint64(n>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
