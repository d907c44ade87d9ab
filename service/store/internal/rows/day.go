package rows

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// AppendDay appends a packed day, at least one byte. An error when it holds a
// number that is not finite.
func AppendDay(dst []byte, r rollup.Result) ([]byte, error) {
	c := coder{buf: append(dst, packedV1)}
	c.day(&r.Row)
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

// DecodeDay reads a packed day into a window that ends before it; the days
// between, and the first ones of an empty window, are of those nothing is known of.
func DecodeDay(stored []byte, day engine.Day, w *engine.Window) error {
	c := reading(stored)
	c.lifts = w.Lifts
	if w.Days == nil { // all at once, as a rule
		w.Days = make([]engine.WindowDay, 0, int(day-w.First)+usualDays)
	}
	w.Days = append(w.Days, make([]engine.WindowDay, day-w.End()+1)...)
	c.day(&w.Days[len(w.Days)-1])
	for c.more(false) {
		if w.Lifts == nil {
			w.Lifts = make([]engine.LiftDay, 0, usualDays)
		}
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

// usualDays is how many days a window has from the first with an entry on, mostly.
const usualDays = 100

func (c *coder) day(d *engine.WindowDay) {
	c.opt(&d.WeightKg)
	c.int(&d.Readings)
	c.opt(&d.IntakeKcal)
	c.opt(&d.ProteinG)
	c.opt(&d.Steps)
	c.opt(&d.ActivityKcal)
	small(c, &d.Marks, 1<<16-1)
	c.opt(&d.RefeedKcal)
	c.bool(&d.HasPhotos)
	c.checkIn(&d.CheckIn)
}

func (c *coder) liftDay(l *engine.LiftDay) {
	c.text(&l.Lift)
	c.opt(&l.BestE1RM)
	c.int(&l.Sets)
	c.int(&l.HardSets)
}
