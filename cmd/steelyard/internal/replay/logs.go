package replay

import (
	"cmp"
	"io"
	"slices"
	"strings"

	"example.com/steelyard/engine"
)

// maxDays is the longest log of one trainee: 22 years. A longer one has a wrong
// date in it.
const maxDays = 8000

var logColumns = []string{"trainee", "date", "weight_kg", "intake_kcal", "steps", "target_kcal", "activity_target_kcal", "refeed_kcal", "marks"}

// logRow is one row, packed: a log may have millions.
type logRow struct {
	day            engine.Day
	line           int32
	weight, intake packed
	target         packed
	activity       packed
	refeed         packed
	isSalty        bool
	isPeriodStart  bool
}

// packed is a number of 0 or more, or -1 when it is not known.
type packed float64

func pack(o engine.Opt) packed {
	if !o.OK {
		return -1
	}
	return packed(o.V)
}

func (p packed) isKnown() bool { return p >= 0 }

func (p packed) opt() engine.Opt {
	if !p.isKnown() {
		return engine.Opt{}
	}
	return engine.Some(float64(p))
}

// ReadLogs reads the log into the trainees, a row a trainee and day, in any
// order: trainee, date (2025-01-31), weight_kg of the morning, intake_kcal of the
// whole day, steps, target_kcal and activity_target_kcal, which hold from that
// day until the next value, refeed_kcal on a day that is a refeed with this
// target for that day only, and marks joined by ";": salty_meal, illness,
// travel, period_start. Only the first two are needed. Steps, illness and travel
// are checked, and the estimator does not use them.
//
// A wrong weight is a weight: whether it is believed is the estimator's to say.
func ReadLogs(r io.Reader, trainees []Trainee) error {
	t, err := newReader(r, logColumns, "trainee", "date")
	if err != nil {
		return err
	}
	index := make(map[string]int, len(trainees))
	for i, x := range trainees {
		index[x.ID] = i
	}
	for t.next() {
		id := t.trainee()
		i, ok := index[id]
		if id != "" && !ok {
			t.refuse("trainee", "has no profile (got %s)", shorten(id))
		}
		row := t.logRow()
		if ok {
			trainees[i].rows = append(trainees[i].rows, row)
		}
	}
	if len(t.problems) == 0 { // what is wrong with a date shows as other things then
		for i := range trainees {
			t.order(trainees[i].rows)
		}
	}
	return t.err()
}

// order sorts a trainee's rows by day, and refuses what then cannot be.
func (t *reader) order(rows []logRow) {
	if len(rows) == 0 {
		return
	}
	slices.SortStableFunc(rows, func(a, b logRow) int { return cmp.Compare(a.day, b.day) })
	first, last := rows[0], rows[len(rows)-1]
	if last.day-first.day >= maxDays {
		t.line = int(last.line)
		t.refuse("date", "lies %d days or more after that of line %d", maxDays, first.line)
	}
	for i, r := range rows[1:] {
		if rows[i].day == r.day {
			t.line = int(r.line)
			t.refuse("date", "the same trainee and day as on line %d", rows[i].line)
		}
	}
}

func (t *reader) logRow() logRow {
	t.number("steps", 0, 1e6, "steps")
	x := logRow{
		day:      t.day("date"),
		line:     int32(t.line),
		weight:   pack(t.number("weight_kg", 1, 9999, "kg")),
		intake:   pack(t.number("intake_kcal", 0, 20000, "kcal")),
		target:   pack(t.number("target_kcal", 0, 20000, "kcal")),
		activity: pack(t.number("activity_target_kcal", 0, 10000, "kcal")),
		refeed:   pack(t.number("refeed_kcal", 1, 20000, "kcal")),
	}
	cell := t.cell("marks")
	if cell == "" {
		return x
	}
	for word := range strings.SplitSeq(cell, ";") {
		switch strings.TrimSpace(word) {
		case "salty_meal":
			x.isSalty = true
		case "period_start":
			x.isPeriodStart = true
		case "illness", "travel":
		default:
			t.refuse("marks", "must be salty_meal, illness, travel or period_start, joined by ';' (got %s)", shorten(cell))
		}
	}
	return x
}
