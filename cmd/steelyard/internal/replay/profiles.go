package replay

import (
	"io"
	"math"
	"strings"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// Profile is what the estimator starts from. All of it may be unknown.
type Profile struct {
	Sex      engine.Sex
	AgeYears engine.Opt // on the first day of the log
	HeightCm engine.Opt
	// MaintenanceGuessKcal is a guess of true maintenance in kcal/d, of the kind
	// that an equation gives, not a mean of what was logged: the estimator expects
	// 94 % of it in the log.
	MaintenanceGuessKcal engine.Opt
}

var profileColumns = []string{"trainee", "sex", "age", "height_cm", "maintenance_guess_kcal"}

// ReadProfiles reads the table of trainees, a row each: trainee, sex (female or
// male), age in years on the first day of the log, height_cm and
// maintenance_guess_kcal. Only the first is needed. Without a guess it comes
// from the equations, for a low-active life, and without what these need from
// body weight alone.
func ReadProfiles(r io.Reader) ([]Trainee, error) {
	t, err := newReader(r, profileColumns, "trainee")
	if err != nil {
		return nil, err
	}
	var out []Trainee
	seen := map[string]int{}
	for t.next() {
		x := Trainee{ID: t.trainee()}
		x.Profile = Profile{
			Sex:                  t.sex(),
			AgeYears:             t.number("age", 1, 120, "years"),
			HeightCm:             t.number("height_cm", 100, 250, "cm"),
			MaintenanceGuessKcal: t.number("maintenance_guess_kcal", 800, 8000, "kcal a day"),
		}
		if first, twice := seen[x.ID]; twice {
			t.refuse("trainee", "the same as on line %d", first)
		}
		seen[x.ID] = t.line
		out = append(out, x)
	}
	return out, t.err()
}

func (t *reader) sex() engine.Sex {
	switch cell := t.cell("sex"); strings.ToLower(cell) {
	case "":
		return engine.SexUnknown
	case "female", "f":
		return engine.Female
	case "male", "m":
		return engine.Male
	default:
		t.refuse("sex", "must be female or male (got %s)", shorten(cell))
		return engine.SexUnknown
	}
}

// guess is the prior of maintenance for a run that starts at a weight on a day
// of a log that begins on first.
func (p Profile) guess(kg float64, first, on engine.Day) (balance.Guess, bool) {
	if p.MaintenanceGuessKcal.OK {
		return balance.Guess{Kcal: p.MaintenanceGuessKcal.V}, true
	}
	known := engine.Profile{Sex: p.Sex, HeightCm: p.HeightCm}
	if p.AgeYears.OK {
		known.BirthDate = engine.SomeDay(yearsBefore(first, int(math.Floor(p.AgeYears.V))))
	}
	g, ok := physiology.MaintenanceGuess(known, kg, on)
	return balance.Guess{Kcal: g.Kcal, SDKcal: g.SDKcal}, ok
}

// yearsBefore is the same date so many years earlier, or the day before where a
// leap day has none.
func yearsBefore(d engine.Day, years int) engine.Day {
	y, m, day := d.Date()
	out, ok := engine.DayOf(y-years, m, day)
	if !ok {
		out, _ = engine.DayOf(y-years, m, day-1)
	}
	return out
}
