package demo

import (
	"bytes"
	"strings"
	"time"
)

// diary is one day of a log.
type diary struct {
	day        time.Time
	weight     string
	marks      []string
	refeedKcal string
	intake     string
	protein    string
	steps      string
	waist      string
	checkIn    string // five answers
	sets       []string
}

const diaryHeader = "date,weight_kg,intake_kcal,protein_g,steps,marks,refeed_kcal,waist_cm,hunger_ease,energy,sleep,training_drive,was_slog,lift,load_kg,reps,reps_in_reserve"

func (d diary) write(b *bytes.Buffer) {
	const lead, rest = 12, 4 // columns between the date and the lift, and from the lift on
	date := d.day.Format(time.DateOnly)
	checkIn := d.checkIn
	if checkIn == "" {
		checkIn = ",,,,"
	}
	row := strings.Join([]string{date, d.weight, d.intake, d.protein, d.steps, strings.Join(d.marks, ";"), d.refeedKcal, d.waist, checkIn}, ",")
	if row != date+strings.Repeat(",", lead) {
		b.WriteString(row + strings.Repeat(",", rest) + "\n")
	}
	for _, s := range d.sets {
		b.WriteString(date + strings.Repeat(",", lead+1) + s + "\n")
	}
}

func diaryText(days []diary) []byte {
	var b bytes.Buffer
	b.WriteString(diaryHeader + "\n")
	for _, d := range days {
		d.write(&b)
	}
	return b.Bytes()
}
