package rows

import (
	"encoding/json"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
)

// sparseRow is what few days have, as it was written before it was packed.
type sparseRow struct {
	CheckIn *checkInRow  `json:"check_in,omitempty"`
	Lifts   []liftRow    `json:"lifts,omitempty"`
	BodyFat []bodyFatRow `json:"body_fat,omitempty"`
	Tapes   []tapeRow    `json:"tapes,omitempty"`
}

// liftRow is an engine.LiftDay without its day.
type liftRow struct {
	Lift     string   `json:"lift"`
	BestE1RM *float64 `json:"best_e1rm_kg,omitempty"`
	Sets     int      `json:"sets"`
	HardSets int      `json:"hard_sets"`
}

// EncodeSparse returns the JSON of what few days have, empty when a day has none of it.
func EncodeSparse(r rollup.Result) (string, error) {
	var s sparseRow
	if r.Row.CheckIn != (engine.CheckIn{}) {
		c := checkInRow(r.Row.CheckIn)
		s.CheckIn = &c
	}
	for _, l := range r.Lifts {
		s.Lifts = append(s.Lifts, liftRow{l.Lift, optional(l.BestE1RM), l.Sets, l.HardSets})
	}
	for _, b := range r.BodyFat {
		s.BodyFat = append(s.BodyFat, bodyFatRow(b.BodyFat))
	}
	for _, t := range r.Tapes {
		s.Tapes = append(s.Tapes, tapeToRow(t.Tape))
	}
	if s.CheckIn == nil && s.Lifts == nil && s.BodyFat == nil && s.Tapes == nil {
		return "", nil
	}
	return encode(s)
}

// DecodeSparse reads what EncodeSparse wrote of a day into its row and its window.
func DecodeSparse(text []byte, day engine.Day, r *engine.WindowDay, w *engine.Window) error {
	var s sparseRow
	if err := json.Unmarshal(text, &s); err != nil {
		return err
	}
	if s.CheckIn != nil {
		r.CheckIn = s.CheckIn.fact()
	}
	for _, l := range s.Lifts {
		w.Lifts = append(w.Lifts, engine.LiftDay{Day: day, Lift: l.Lift, BestE1RM: opt(l.BestE1RM), Sets: l.Sets, HardSets: l.HardSets})
	}
	for _, b := range s.BodyFat {
		w.BodyFat = append(w.BodyFat, engine.BodyFatReading{Day: day, BodyFat: b.fact()})
	}
	for _, t := range s.Tapes {
		w.Tapes = append(w.Tapes, engine.TapeReading{Day: day, Tape: t.fact()})
	}
	return nil
}
