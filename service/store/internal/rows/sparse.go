package rows

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// AppendSparse appends what few days have, packed; nothing when a day has none of it.
func AppendSparse(dst []byte, r rollup.Result) ([]byte, error) {
	if r.Row.CheckIn == (engine.CheckIn{}) && len(r.Lifts)+len(r.BodyFat)+len(r.Tapes) == 0 {
		return dst, nil
	}
	c := coder{buf: append(dst, packedV1)}
	c.checkIn(&r.Row.CheckIn)
	for _, l := range r.Lifts {
		c.more(true)
		c.liftDay(&l)
	}
	c.more(false)
	for _, b := range r.BodyFat {
		c.more(true)
		c.bodyFat(&b.BodyFat)
	}
	c.more(false)
	for _, t := range r.Tapes {
		c.more(true)
		c.tape(&t.Tape)
	}
	c.more(false)
	return c.trimmed(len(dst))
}

// DecodeSparse reads what few days have of a day into its row and its window,
// packed or in JSON as it was written before.
func DecodeSparse(stored []byte, day engine.Day, r *engine.WindowDay, w *engine.Window) error {
	if isJSON(stored) {
		return decodeSparseJSON(stored, day, r, w)
	}
	c := reading(stored)
	c.lifts = w.Lifts
	c.checkIn(&r.CheckIn)
	for c.more(false) {
		l := engine.LiftDay{Day: day}
		c.liftDay(&l)
		w.Lifts = append(w.Lifts, l)
	}
	for c.more(false) {
		b := engine.BodyFatReading{Day: day}
		c.bodyFat(&b.BodyFat)
		w.BodyFat = append(w.BodyFat, b)
	}
	for c.more(false) {
		t := engine.TapeReading{Day: day}
		c.tape(&t.Tape)
		w.Tapes = append(w.Tapes, t)
	}
	return c.err
}

func (c *coder) liftDay(l *engine.LiftDay) {
	c.text(&l.Lift)
	c.opt(&l.BestE1RM)
	c.int(&l.Sets)
	c.int(&l.HardSets)
}
