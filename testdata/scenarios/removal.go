package scenarios

import (
	"fmt"
	"slices"
	"strings"

	"example.com/steelyard/engine"
)

// Removal is data that is taken away.
type Removal struct {
	spans   []span
	Profile []string // fields, as in a file
	Plan    []string
}

// span is the entries of one kind from one day to another.
type span struct {
	kind     engine.Kind
	from, to engine.Day
}

// removalText is a removal as a file has it: for each kind "all", or days and
// ranges of days.
type removalText struct {
	Log        string   `yaml:"log"` // every kind
	WeighIns   string   `yaml:"weigh_ins"`
	Intakes    string   `yaml:"intakes"`
	Activities string   `yaml:"activities"`
	Lifts      string   `yaml:"lifts"`
	BodyFat    string   `yaml:"body_fat"`
	Tapes      string   `yaml:"tapes"`
	CheckIns   string   `yaml:"check_ins"`
	Marks      string   `yaml:"marks"`
	Person     []string `yaml:"person"`
	Plan       []string `yaml:"plan"`
}

const firstDay, lastDay = engine.Day(-1 << 30), engine.Day(1 << 30)

// kinds are all that a scenario can log.
var kinds = []engine.Kind{
	engine.KindWeighIn, engine.KindIntake, engine.KindActivity, engine.KindLiftSet,
	engine.KindBodyFat, engine.KindTape, engine.KindCheckIn, engine.KindMark, engine.KindPhotoSet,
}

func (t removalText) read() (Removal, error) {
	var r Removal
	for _, k := range []struct {
		key, text string
		kinds     []engine.Kind
	}{
		{"log", t.Log, kinds},
		{"weigh_ins", t.WeighIns, []engine.Kind{engine.KindWeighIn}},
		{"intakes", t.Intakes, []engine.Kind{engine.KindIntake}},
		{"activities", t.Activities, []engine.Kind{engine.KindActivity}},
		{"lifts", t.Lifts, []engine.Kind{engine.KindLiftSet}},
		{"body_fat", t.BodyFat, []engine.Kind{engine.KindBodyFat}},
		{"tapes", t.Tapes, []engine.Kind{engine.KindTape}},
		{"check_ins", t.CheckIns, []engine.Kind{engine.KindCheckIn}},
		{"marks", t.Marks, []engine.Kind{engine.KindMark}},
	} {
		if k.text == "" {
			continue
		}
		for _, part := range strings.Split(k.text, ",") {
			from, to, err := days(strings.TrimSpace(part))
			if err != nil {
				return Removal{}, fmt.Errorf("%s: %w", k.key, err)
			}
			for _, kind := range k.kinds {
				r.spans = append(r.spans, span{kind, from, to})
			}
		}
	}
	for _, field := range t.Person {
		if _, ok := profileFields[field]; !ok {
			return Removal{}, fmt.Errorf("person: %q cannot be taken away", field)
		}
	}
	for _, field := range t.Plan {
		if _, ok := planFields[field]; !ok {
			return Removal{}, fmt.Errorf("plan: %q cannot be taken away", field)
		}
	}
	r.Profile, r.Plan = t.Person, t.Plan
	return r, nil
}

// days reads "all", a day, or a range of days "2025-03-03..2025-03-09".
func days(text string) (from, to engine.Day, err error) {
	if text == "all" {
		return firstDay, lastDay, nil
	}
	a, b, isRange := strings.Cut(text, "..")
	if from, err = engine.ParseDay(a); err != nil || !isRange {
		return from, from, err
	}
	if to, err = engine.ParseDay(b); err == nil && to < from {
		err = fmt.Errorf("%q ends before it begins", text)
	}
	return from, to, err
}

// IsEmpty reports whether nothing is taken away.
func (r Removal) IsEmpty() bool { return len(r.spans)+len(r.Profile)+len(r.Plan) == 0 }

// Kinds are the kinds of entries of which something is taken away, each once.
func (r Removal) Kinds() []engine.Kind {
	var out []engine.Kind
	for _, s := range r.spans {
		if !slices.Contains(out, s.kind) {
			out = append(out, s.kind)
		}
	}
	return out
}

// IsWholeLog reports whether nothing of the log is left.
func (r Removal) IsWholeLog() bool {
	for _, kind := range kinds {
		if !slices.Contains(r.spans, span{kind, firstDay, lastDay}) {
			return false
		}
	}
	return true
}

func (r Removal) takes(e engine.Entry) bool {
	for _, s := range r.spans {
		if e.Fact.Kind() == s.kind && e.Day >= s.from && e.Day <= s.to {
			return true
		}
	}
	return false
}

// profileFields are what can be forgotten of a profile.
var profileFields = map[string]struct {
	isKnown func(engine.Profile) bool
	forget  func(*engine.Profile)
}{
	"sex":       {func(p engine.Profile) bool { return p.Sex != engine.SexUnknown }, func(p *engine.Profile) { p.Sex = engine.SexUnknown }},
	"born":      {func(p engine.Profile) bool { return p.BirthDate.OK }, func(p *engine.Profile) { p.BirthDate = engine.OptDay{} }},
	"height_cm": {func(p engine.Profile) bool { return p.HeightCm.OK }, func(p *engine.Profile) { p.HeightCm = engine.Opt{} }},
	"activity": {func(p engine.Profile) bool { return p.Activity != engine.ActivityUnknown },
		func(p *engine.Profile) { p.Activity = engine.ActivityUnknown }},
	"maintenance_guess_kcal": {func(p engine.Profile) bool { return p.MaintenanceGuessKcal.OK },
		func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Opt{} }},
	// That nothing is declared is always known.
	"conditions": {func(engine.Profile) bool { return true }, func(p *engine.Profile) { p.Conditions = 0 }},
}

// planFields are what can be left out of a plan again.
var planFields = map[string]func(*engine.Plan){
	"goal_weight_kg":    func(p *engine.Plan) { p.GoalWeightKg = engine.Opt{} },
	"goal_body_fat_pct": func(p *engine.Plan) { p.GoalBodyFatPct = engine.Opt{} },
	"intake_floor_kcal": func(p *engine.Plan) { p.IntakeFloorKcal = engine.Opt{} },
}
