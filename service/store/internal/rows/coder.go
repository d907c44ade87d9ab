package rows

import (
	"encoding/binary"
	"errors"
	"math"

	"example.com/steelyard/engine"
)

// packedV1 is the first byte of what is packed. It is none that JSON begins with.
const packedV1 = 1

var (
	errMalformed = errors.New("a stored value is malformed") // no version has written it
	errNoForm    = errors.New("a value cannot be stored")    // as a number that is not finite
)

// coder writes the fields of a value one after the other or, the other way, reads
// them: one description of a value serves both.
//
// Zeros at the end are left out, and what is missing at the end reads as zero. So
// a new field comes last, is zero when nothing is known, and needs no new version:
// it is zero in older rows, and an older program leaves it unread.
type coder struct {
	buf       []byte // written so far, or to be read
	at        int    // where the next is read
	isReading bool
	err       error
	texts     int              // where the last text ends, of which nothing is left out
	lifts     []engine.LiftDay // read before: a name that comes again shares their text
}

// reading returns a coder that reads what is packed.
func reading(stored []byte) coder {
	if len(stored) == 0 || stored[0] != packedV1 {
		return coder{isReading: true, err: errMalformed}
	}
	return coder{buf: stored, at: 1, isReading: true}
}

// isJSON tells the older form. Neither begins with a byte of the other.
func isJSON(stored []byte) bool { return len(stored) > 0 && (stored[0] == '{' || stored[0] == '[') }

// trimmed returns what is written without the zeros at the end; the version stays.
func (c *coder) trimmed(start int) ([]byte, error) {
	end := len(c.buf)
	for end > max(start+1, c.texts) && c.buf[end-1] == 0 {
		end--
	}
	return c.buf[:end], c.err
}

func (c *coder) fail() {
	c.err = errNoForm
	if c.isReading {
		c.err, c.at = errMalformed, len(c.buf)
	}
}

// uvarint is what every field comes down to.
func (c *coder) uvarint(v *uint64) {
	if !c.isReading {
		c.buf = binary.AppendUvarint(c.buf, *v)
		return
	}
	*v = c.next()
}

// next reads a number. Most are of one byte, or are left out.
func (c *coder) next() uint64 {
	if c.at >= len(c.buf) {
		return 0
	}
	if b := c.buf[c.at]; b < 0x80 {
		c.at++
		return uint64(b)
	}
	return c.long()
}

func (c *coder) long() uint64 {
	v, n := binary.Uvarint(c.buf[c.at:])
	if n <= 0 {
		c.fail()
		return 0
	}
	c.at += n
	return v
}

func (c *coder) int(v *int) {
	if c.isReading {
		*v = int(unzigzag(c.next()))
		return
	}
	u := zigzag(int64(*v))
	c.uvarint(&u)
}

func (c *coder) bool(v *bool) {
	if c.isReading {
		u := c.next()
		if *v = u == 1; u > 1 {
			c.fail()
		}
		return
	}
	u := uint64(0)
	if *v {
		u = 1
	}
	c.uvarint(&u)
}

// small is a constant's number, at most a given one.
func small[T ~uint8 | ~uint16](c *coder, v *T, most T) {
	u := uint64(*v)
	if c.uvarint(&u); u > uint64(most) {
		c.fail()
	}
	*v = T(u)
}

// What a number is written as: thousandths when they are exact, which is nearly
// always, else all of its bits.
const (
	tokenNone = 0 // an unknown number, or nought
	tokenRaw  = 1 // bits follow
)

// number is 0 or tokenRaw, or 1 more than the zigzag of its thousandths.
func (c *coder) number(v *float64) {
	if c.isReading {
		switch token := c.next(); token {
		case tokenNone:
			*v = 0
		case tokenRaw:
			c.raw(v)
		default:
			*v = float64(unzigzag(token-1)) / 1000
		}
		return
	}
	n, exact := thousandths(*v)
	token := uint64(tokenNone)
	switch {
	case !exact:
		token = tokenRaw
	case n != 0:
		token = zigzag(n) + 1
	}
	if c.uvarint(&token); token == tokenRaw {
		c.raw(v)
	}
}

// opt is 0 when it is unknown or tokenRaw, or 2 more than the zigzag of its thousandths.
func (c *coder) opt(o *engine.Opt) {
	if c.isReading {
		switch token := c.next(); token {
		case tokenNone:
			*o = engine.Opt{}
		case tokenRaw:
			o.OK = true
			c.raw(&o.V)
		default:
			*o = engine.Opt{V: float64(unzigzag(token-2)) / 1000, OK: true}
		}
		return
	}
	token := uint64(tokenNone)
	if o.OK {
		token = tokenRaw
		if n, exact := thousandths(o.V); exact {
			token = zigzag(n) + 2
		}
	}
	if c.uvarint(&token); token == tokenRaw {
		c.raw(&o.V)
	}
}

// raw is the bits of a finite number.
func (c *coder) raw(v *float64) {
	if c.isReading {
		var bits [8]byte
		c.at += copy(bits[:], c.buf[c.at:])
		*v = math.Float64frombits(binary.LittleEndian.Uint64(bits[:]))
	} else {
		c.buf = binary.LittleEndian.AppendUint64(c.buf, math.Float64bits(*v))
	}
	if math.IsNaN(*v) || math.IsInf(*v, 0) {
		c.fail()
	}
}

func (c *coder) text(s *string) {
	size := uint64(len(*s))
	c.uvarint(&size)
	if !c.isReading {
		c.buf = append(c.buf, *s...)
		c.texts = len(c.buf)
		return
	}
	if size > uint64(len(c.buf)-c.at) {
		c.fail()
		return
	}
	*s = c.shared(c.buf[c.at : c.at+int(size)])
	c.at += int(size)
}

// shared returns a text, that of a lift of the last days if it is the same.
func (c *coder) shared(text []byte) string {
	for i := len(c.lifts) - 1; i >= max(0, len(c.lifts)-16); i-- {
		if c.lifts[i].Lift == string(text) {
			return c.lifts[i].Lift
		}
	}
	return string(text)
}

// more comes before each thing of a list and after the last.
func (c *coder) more(isMore bool) bool {
	c.bool(&isMore)
	return isMore && c.err == nil
}

// thousandths returns a number as a multiple of a thousandth, and false when it is none.
func thousandths(v float64) (int64, bool) {
	f := math.Round(v * 1000)
	if !(math.Abs(f) <= 1<<53) { // a NaN is neither
		return 0, false
	}
	n := int64(f)
	return n, math.Float64bits(float64(n)/1000) == math.Float64bits(v)
}

func zigzag(n int64) uint64   { return uint64(n<<1) ^ uint64(n>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
