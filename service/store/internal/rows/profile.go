package rows

import (
	"encoding/json"

	"example.com/steelyard/engine"
)

// profileRow is an engine.Profile as it is stored.
type profileRow struct {
	Sex              engine.Sex           `json:"sex,omitempty"`
	BirthDay         *engine.Day          `json:"birth_day,omitempty"`
	HeightCm         *float64             `json:"height_cm,omitempty"`
	Activity         engine.ActivityLevel `json:"activity,omitempty"`
	MaintenanceGuess *float64             `json:"maintenance_guess_kcal,omitempty"`
	Conditions       engine.Condition     `json:"conditions,omitempty"`
}

// EncodeProfile returns the JSON of a profile.
func EncodeProfile(p engine.Profile) (string, error) {
	r := profileRow{
		Sex: p.Sex, HeightCm: optional(p.HeightCm), Activity: p.Activity,
		MaintenanceGuess: optional(p.MaintenanceGuessKcal), Conditions: p.Conditions,
	}
	if p.BirthDate.OK {
		r.BirthDay = &p.BirthDate.Day
	}
	return encode(r)
}

// DecodeProfile reads what EncodeProfile wrote.
func DecodeProfile(text []byte) (engine.Profile, error) {
	var r profileRow
	if err := json.Unmarshal(text, &r); err != nil {
		return engine.Profile{}, err
	}
	p := engine.Profile{
		Sex: r.Sex, HeightCm: opt(r.HeightCm), Activity: r.Activity,
		MaintenanceGuessKcal: opt(r.MaintenanceGuess), Conditions: r.Conditions,
	}
	if r.BirthDay != nil {
		p.BirthDate = engine.SomeDay(*r.BirthDay)
	}
	return p, nil
}
