package scenarios

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"example.com/steelyard/engine"
)

// fileText is a file as it is written.
type fileText struct {
	Who        string     `yaml:"who"`
	Why        string     `yaml:"why"`
	APIRefuses string     `yaml:"api_refuses"`
	Person     personText `yaml:"person"`
	Plan       planText   `yaml:"plan"`
	Made       *Made      `yaml:"made"`
	book       `yaml:",inline"`
	Generated  book        `yaml:"generated"`
	Edits      []editText  `yaml:"edits"`
	Checks     []checkText `yaml:"checks"`
}

// book is what was decided and logged.
type book struct {
	Decisions []string          `yaml:"decisions"`
	Log       []blockText       `yaml:"log"`
	Marks     map[string]string `yaml:"marks"`
	CheckIns  map[string]string `yaml:"check_ins"`
	BodyFat   map[string]string `yaml:"body_fat"`
	Tapes     map[string]string `yaml:"tapes"`
	Photos    []string          `yaml:"photos"` // days on which pictures were taken
}

type editText struct {
	Why    string      `yaml:"why"`
	Remove removalText `yaml:"remove"`
	Person *personText `yaml:"person"`
	Plan   *planText   `yaml:"plan"`
	book   `yaml:",inline"`
}

type checkText struct {
	Day        string            `yaml:"day"`
	AfterEdits int               `yaml:"after_edits"`
	Without    removalText       `yaml:"without"`
	Stage      string            `yaml:"stage"`
	Action     string            `yaml:"action"`
	Codes      []string          `yaml:"codes"`
	Never      []string          `yaml:"never"`
	Numbers    map[string]string `yaml:"numbers"`
	Absent     []string          `yaml:"absent"`
	Rule       string            `yaml:"rule"`
	Not        []string          `yaml:"not"`
	Silenced   string            `yaml:"silenced"`
	Unmoved    string            `yaml:"unmoved"`
}

// Parse reads the text of a scenario. It is strict: a key that is not known, a
// series of the wrong length, a day or a number that is none is an error that
// names the file and the key.
func Parse(file, text string) (Scenario, error) {
	s, err := parse(text)
	if err != nil {
		return Scenario{}, fmt.Errorf("scenario %s: %w", file, err)
	}
	s.File = file
	return s, nil
}

func parse(text string) (Scenario, error) {
	var t fileText
	dec := yaml.NewDecoder(strings.NewReader(text))
	dec.KnownFields(true)
	if err := dec.Decode(&t); err != nil {
		return Scenario{}, err
	}
	if err := dec.Decode(new(any)); !errors.Is(err, io.EOF) {
		return Scenario{}, errors.New("holds more than one document")
	}
	s := Scenario{Who: strings.TrimSpace(t.Who), Why: strings.TrimSpace(t.Why), APIRefuses: t.APIRefuses, Made: t.Made}
	if s.Who == "" || s.Why == "" {
		return Scenario{}, errors.New("who and why: must be said")
	}
	if err := t.Person.fill(&s.Profile); err != nil {
		return Scenario{}, err
	}
	if t.Plan.Start == "" {
		return Scenario{}, errors.New("plan.start: is missing")
	}
	s.Plan = engine.DefaultPlan(0)
	if err := t.Plan.fill(&s.Plan); err != nil {
		return Scenario{}, err
	}
	for _, b := range []struct {
		at string
		book
	}{{"", t.book}, {"generated.", t.Generated}} {
		if err := s.read(b.at, b.book); err != nil {
			return Scenario{}, err
		}
	}
	if s.Made != nil {
		if err := s.Made.check(); err != nil {
			return Scenario{}, fmt.Errorf("made: %w", err)
		}
	}
	for i, e := range t.Edits {
		edit, err := e.read()
		if err != nil {
			return Scenario{}, fmt.Errorf("edits[%d]: %w", i, err)
		}
		s.Edits = append(s.Edits, edit)
	}
	if len(t.Checks) == 0 {
		return Scenario{}, errors.New("checks: there is none")
	}
	for i, c := range t.Checks {
		check, err := c.read(len(s.Edits))
		if err != nil {
			return Scenario{}, fmt.Errorf("checks[%d]: %w", i, err)
		}
		if err := s.isInTime(check); err != nil {
			return Scenario{}, fmt.Errorf("checks[%d]: %w", i, err)
		}
		s.Checks = append(s.Checks, check)
	}
	return s, nil
}

// isInTime refuses a check on the day of a decision that an earlier check of a
// later day has seen already: what is decided cannot be undone.
func (s Scenario) isInTime(c Check) error {
	for _, before := range s.Checks {
		for _, d := range s.Plan.Decisions {
			if d.From == c.Day && before.Day > c.Day {
				return fmt.Errorf("day: there is a decision on %s; its checks must stand before those of later days", c.Day)
			}
		}
	}
	return nil
}

// read adds a book to a scenario.
func (s *Scenario) read(at string, b book) error {
	var own []engine.Decision
	for i, line := range b.Decisions {
		d, err := decision(line)
		if err != nil {
			return fmt.Errorf("%sdecisions[%d]: %q: %w", at, i, line, err)
		}
		if i > 0 && d.From < own[i-1].From {
			return fmt.Errorf("%sdecisions[%d]: %q lies before the one above it", at, i, line)
		}
		own = append(own, d)
	}
	s.Plan.Decisions = append(s.Plan.Decisions, own...)
	slices.SortStableFunc(s.Plan.Decisions, func(a, b engine.Decision) int { return cmp.Compare(a.From, b.From) })
	entries, err := b.entries()
	if err != nil {
		return fmt.Errorf("%s%w", at, err)
	}
	for _, e := range entries {
		i, found := find(s.Entries, e.ID())
		if found {
			return fmt.Errorf("%slog: %s on %s is logged twice", at, e.ID().Kind, e.Day)
		}
		s.Entries = slices.Insert(s.Entries, i, e)
	}
	return nil
}

// entries are those of a book, in no order.
func (b book) entries() ([]engine.Entry, error) {
	var out []engine.Entry
	for i, block := range b.Log {
		entries, err := block.entries()
		if err != nil {
			return nil, fmt.Errorf("log[%d].%w", i, err)
		}
		out = append(out, entries...)
	}
	for _, kind := range []struct {
		key  string
		text map[string]string
		read func(string) ([]keyed, error)
	}{
		{"marks", b.Marks, marks},
		{"check_ins", b.CheckIns, checkIn},
		{"body_fat", b.BodyFat, bodyFat},
		{"tapes", b.Tapes, tape},
	} {
		for _, date := range sorted(kind.text) {
			text := kind.text[date]
			day, err := engine.ParseDay(date)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", kind.key, err)
			}
			facts, err := kind.read(text)
			if err != nil {
				return nil, fmt.Errorf("%s.%s: %q: %w", kind.key, date, text, err)
			}
			for _, f := range facts {
				out = append(out, engine.Entry{Day: day, Key: f.key, Fact: f.fact})
			}
		}
	}
	for i, date := range b.Photos {
		day, err := engine.ParseDay(date)
		if err != nil {
			return nil, fmt.Errorf("photos[%d]: %w", i, err)
		}
		out = append(out, engine.Entry{Day: day, Key: "1", Fact: engine.PhotoSet{Reference: "front-and-side"}})
	}
	return out, nil
}

func (t editText) read() (Edit, error) {
	e := Edit{Why: strings.TrimSpace(t.Why), person: t.Person, plan: t.Plan}
	if e.Why == "" {
		return Edit{}, errors.New("why: must be said")
	}
	if len(t.Decisions) > 0 {
		return Edit{}, errors.New("decisions: are never edited")
	}
	var err error
	if e.remove, err = t.Remove.read(); err != nil {
		return Edit{}, fmt.Errorf("remove.%w", err)
	}
	if e.set, err = t.entries(); err != nil {
		return Edit{}, err
	}
	if t.Person != nil {
		if err := t.Person.fill(&engine.Profile{}); err != nil {
			return Edit{}, err
		}
	}
	if t.Plan != nil {
		if err := t.Plan.fill(&engine.Plan{}); err != nil {
			return Edit{}, err
		}
	}
	if e.remove.IsEmpty() && len(e.set) == 0 && t.Person == nil && t.Plan == nil {
		return Edit{}, errors.New("changes nothing")
	}
	return e, nil
}

// find returns where an entry of a natural key is or would be.
func find(entries []engine.Entry, id engine.ID) (int, bool) {
	return slices.BinarySearchFunc(entries, id, func(e engine.Entry, id engine.ID) int {
		return cmp.Or(cmp.Compare(e.Day, id.Day), cmp.Compare(e.Fact.Kind(), id.Kind), strings.Compare(e.Key, id.Key))
	})
}

// replaced returns entries with others put in, each in the place of the one
// with the same natural key.
func replaced(entries, set []engine.Entry) []engine.Entry {
	out := slices.Clone(entries)
	for _, e := range set {
		i, found := find(out, e.ID())
		if found {
			out[i] = e
		} else {
			out = slices.Insert(out, i, e)
		}
	}
	return out
}
