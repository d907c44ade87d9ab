package packed

import "example.com/steelyard/engine"

func (w *writer) window(win engine.Window) {
	w.varint(int64(win.First))
	w.uvarint(uint64(len(win.Days)))
	for c := range columns {
		w.column(win.Days, c)
	}
	w.extras(win.Days)
	w.lifts(win)
	w.bodyFat(win)
	w.tapes(win)
}

func (r *reader) window() engine.Window {
	win := engine.Window{First: r.day(0)}
	n := r.uvarint()
	if n > MaxDays {
		r.fail()
		return win
	}
	if n > 0 {
		win.Days = make([]engine.WindowDay, n)
	}
	r.fill(&win)
	return win
}

// fill reads what follows the days' number into so many empty ones.
func (r *reader) fill(win *engine.Window) {
	for c := range columns {
		r.column(win.Days, c)
	}
	r.extras(win.Days)
	win.Lifts = r.lifts(win.First)
	win.BodyFat = r.bodyFat(win.First)
	win.Tapes = r.tapes(win.First)
}

// What few days have is a list of those days, each with a byte that says what
// follows. The usual count of readings is one where there is a weight.
const (
	hasReadings = 1 << iota
	hasMarks
	hasPhotos
	hasScores  // a check-in of small scores, in two bytes
	hasCheckIn // any other
	anyExtra   = hasReadings | hasMarks | hasPhotos | hasScores | hasCheckIn
)

// scores are the check-in in two bytes, three bits a score and two for the
// answer, and false when it does not fit.
func scores(c engine.CheckIn) (uint16, bool) {
	for _, v := range []int{c.HungerEase, c.Energy, c.Sleep, c.TrainingDrive, int(c.WasSlog) << 1} {
		if v < 0 || v > 7 {
			return 0, false
		}
	}
	return uint16(c.HungerEase) | uint16(c.Energy)<<3 | uint16(c.Sleep)<<6 | uint16(c.TrainingDrive)<<9 | uint16(c.WasSlog)<<12, true
}

func checkIn(v uint16) engine.CheckIn {
	score := func(at int) int { return int(v>>at) & 7 }
	return engine.CheckIn{HungerEase: score(0), Energy: score(3), Sleep: score(6), TrainingDrive: score(9), WasSlog: engine.Answer(v >> 12 & 3)}
}

// usualReadings is the count that is not written.
func usualReadings(d *engine.WindowDay) (n int) {
	if d.WeightKg.OK {
		n = 1
	}
	return n
}

func (w *writer) extras(days []engine.WindowDay) {
	n := 0
	for i := range days {
		if extra(&days[i]) != 0 {
			n++
		}
	}
	w.uvarint(uint64(n))
	last := 0
	for i := range days {
		d := &days[i]
		what := extra(d)
		if what == 0 {
			continue
		}
		w.uvarint(uint64(i - last))
		last = i
		w.byte(what)
		if what&hasReadings != 0 {
			w.varint(int64(d.Readings))
		}
		if what&hasMarks != 0 {
			w.uvarint(uint64(d.Marks))
		}
		if what&hasScores != 0 {
			v, _ := scores(d.CheckIn)
			w.byte(byte(v))
			w.byte(byte(v >> 8))
		}
		if what&hasCheckIn != 0 {
			c := d.CheckIn
			for _, v := range []int{c.HungerEase, c.Energy, c.Sleep, c.TrainingDrive, int(c.WasSlog)} {
				w.varint(int64(v))
			}
		}
	}
}

func extra(d *engine.WindowDay) (what byte) {
	if d.Readings != usualReadings(d) {
		what |= hasReadings
	}
	if d.Marks != 0 {
		what |= hasMarks
	}
	if d.HasPhotos {
		what |= hasPhotos
	}
	if d.CheckIn != (engine.CheckIn{}) {
		if _, ok := scores(d.CheckIn); ok {
			what |= hasScores
		} else {
			what |= hasCheckIn
		}
	}
	return what
}

func (r *reader) extras(days []engine.WindowDay) {
	for i := range days {
		days[i].Readings = usualReadings(&days[i])
	}
	at := uint64(0)
	for range r.count(2) {
		at += r.uvarint()
		what := r.byte()
		if at >= uint64(len(days)) || what&^anyExtra != 0 {
			r.fail()
			return
		}
		d := &days[at]
		d.HasPhotos = what&hasPhotos != 0
		if what&hasReadings != 0 {
			d.Readings = r.int()
		}
		if what&hasMarks != 0 {
			d.Marks = engine.MarkSet(r.small(16))
		}
		if what&hasScores != 0 {
			low := r.byte()
			d.CheckIn = checkIn(uint16(low) | uint16(r.byte())<<8)
		}
		if what&hasCheckIn != 0 {
			d.CheckIn = engine.CheckIn{HungerEase: r.int(), Energy: r.int(), Sleep: r.int(), TrainingDrive: r.int()}
			slog := r.varint()
			if slog < 0 || slog > 255 {
				r.fail()
				return
			}
			d.CheckIn.WasSlog = engine.Answer(slog)
		}
	}
}

// What a lift, a body-fat reading and a tape take at least, in bytes.
const (
	liftBytes    = 5
	bodyFatBytes = 3
	tapeBytes    = 8
)

func (w *writer) lifts(win engine.Window) {
	w.uvarint(uint64(len(win.Lifts)))
	last := win.First
	for _, l := range win.Lifts {
		w.varint(int64(l.Day) - int64(last))
		last = l.Day
		w.text(l.Lift)
		w.opt(l.BestE1RM)
		w.varint(int64(l.Sets))
		w.varint(int64(l.HardSets))
	}
}

func (r *reader) lifts(last engine.Day) []engine.LiftDay {
	n := r.count(liftBytes)
	if n == 0 {
		return nil
	}
	out := make([]engine.LiftDay, n)
	for i := range out {
		last = r.day(last)
		out[i] = engine.LiftDay{Day: last, Lift: r.text(), BestE1RM: r.opt(), Sets: r.int(), HardSets: r.int()}
	}
	return out
}

func (w *writer) bodyFat(win engine.Window) {
	w.uvarint(uint64(len(win.BodyFat)))
	last := win.First
	for _, b := range win.BodyFat {
		w.varint(int64(b.Day) - int64(last))
		last = b.Day
		w.byte(byte(b.Method))
		w.num(b.Pct)
	}
}

func (r *reader) bodyFat(last engine.Day) []engine.BodyFatReading {
	n := r.count(bodyFatBytes)
	if n == 0 {
		return nil
	}
	out := make([]engine.BodyFatReading, n)
	for i := range out {
		last = r.day(last)
		out[i].Day = last
		out[i].Method = engine.BodyFatMethod(r.byte())
		out[i].Pct = r.num()
	}
	return out
}

func girths(t *engine.Tape) [7]*engine.Opt {
	return [...]*engine.Opt{&t.WaistCm, &t.AbdomenCm, &t.HipCm, &t.NeckCm, &t.ChestCm, &t.ThighCm, &t.UpperArmCm}
}

func (w *writer) tapes(win engine.Window) {
	w.uvarint(uint64(len(win.Tapes)))
	last := win.First
	for _, t := range win.Tapes {
		w.varint(int64(t.Day) - int64(last))
		last = t.Day
		for _, o := range girths(&t.Tape) {
			w.opt(*o)
		}
	}
}

func (r *reader) tapes(last engine.Day) []engine.TapeReading {
	n := r.count(tapeBytes)
	if n == 0 {
		return nil
	}
	out := make([]engine.TapeReading, n)
	for i := range out {
		last = r.day(last)
		out[i].Day = last
		for _, to := range girths(&out[i].Tape) {
			*to = r.opt()
		}
	}
	return out
}
