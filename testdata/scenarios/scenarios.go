// Package scenarios reads the scenarios that lie beside it, for tests: invented
// trainees with a plan, a log and what is to be recommended on which day. They
// are run on the engine and again through the API. README.md explains the
// notation.
package scenarios

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"

	"example.com/steelyard/engine"
)

//go:embed *.yaml
var files embed.FS

// Scenario is one file.
type Scenario struct {
	File string // its name without the suffix
	Who  string // the invented person
	Why  string // what it is there to show

	// APIRefuses names the field or the reason with which the API refuses what
	// the engine alone would answer; empty in most scenarios.
	APIRefuses string

	Profile engine.Profile
	Plan    engine.Plan    // with its decisions
	Entries []engine.Entry // ascending by day, kind and key; no natural key twice
	Edits   []Edit
	Made    *Made // how the series came about; nil when they were written by hand
	Checks  []Check
}

// Edit changes the past: of the log, the profile or the plan.
type Edit struct {
	Why    string
	remove Removal
	set    []engine.Entry
	person *personText
	plan   *planText
}

// State is what is known of a trainee at some point of a scenario.
type State struct {
	Profile engine.Profile
	Plan    engine.Plan
	Entries []engine.Entry // ascending by day, kind and key
}

// Check is what is to come of a scenario on the morning of a day, before that
// day's decisions. Words are those of the API's enumerations, in lower case with
// hyphens.
type Check struct {
	Day        engine.Day
	AfterEdits int     // so many of the scenario's edits are made
	Without    Removal // what is taken away for this check alone

	Stage   string
	Action  string
	Codes   []string // of findings and cautions: all of these
	Never   []string // none of these
	Numbers []Number
	Absent  []string // numbers that must not be known

	Rule     string   // the name of the rule that decides
	Not      []string // rules that have data enough and do not decide
	Silenced string   // the rule that decides with, and not without, what is taken away
	Unmoved  string   // the rule that decides with and without it
}

// Number is a quantity that must lie in a range.
type Number struct {
	Name      string
	Low, High float64
}

// Load reads all scenarios, in the order of their names.
func Load() ([]Scenario, error) {
	names, err := fs.Glob(files, "*.yaml")
	if err != nil {
		return nil, err
	}
	var all []Scenario
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		s, err := Parse(strings.TrimSuffix(path.Base(name), ".yaml"), string(text))
		if err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}

// Onto returns a log with the scenario's own entries put into it.
func (s Scenario) Onto(log []engine.Entry) []engine.Entry { return replaced(log, s.Entries) }

// At returns the state that a check looks at: with the decisions of the days
// before, not yet those of its own day.
func (s Scenario) At(c Check) (State, error) {
	st, err := s.After(c.AfterEdits)
	if err != nil {
		return State{}, err
	}
	st = st.Less(c.Without)
	st.Plan.Decisions = nil
	for _, d := range s.Plan.Decisions {
		if d.From < c.Day {
			st.Plan.Decisions = append(st.Plan.Decisions, d)
		}
	}
	return st, nil
}

// After returns the state after so many of the scenario's edits.
func (s Scenario) After(edits int) (State, error) {
	st := State{Profile: s.Profile, Plan: s.Plan, Entries: s.Entries}
	for _, e := range s.Edits[:edits] {
		st = st.Less(e.remove)
		st.Entries = replaced(st.Entries, e.set)
		if e.person != nil {
			if err := e.person.fill(&st.Profile); err != nil {
				return State{}, fmt.Errorf("%s: %w", s.File, err)
			}
		}
		if e.plan != nil {
			if err := e.plan.fill(&st.Plan); err != nil {
				return State{}, fmt.Errorf("%s: %w", s.File, err)
			}
		}
	}
	return st, nil
}

// Less returns the state without what a removal names.
func (st State) Less(r Removal) State {
	var kept []engine.Entry
	for _, e := range st.Entries {
		if !r.takes(e) {
			kept = append(kept, e)
		}
	}
	st.Entries = kept
	for _, field := range r.Profile {
		profileFields[field].forget(&st.Profile)
	}
	for _, field := range r.Plan {
		planFields[field](&st.Plan)
	}
	return st
}

// Holds reports whether a state holds, in the four weeks up to a day, data of
// every kind that a removal takes away.
func (st State) Holds(r Removal, day engine.Day) bool {
	for _, kind := range r.Kinds() {
		found := false
		for _, e := range st.Entries {
			found = found || e.Fact.Kind() == kind && e.Day > day-28 && e.Day <= day
		}
		if !found {
			return false
		}
	}
	for _, field := range r.Profile {
		if !profileFields[field].isKnown(st.Profile) {
			return false
		}
	}
	return true
}

// Answer is a recommendation in the words of a check, wherever it came from.
type Answer struct {
	Stage, Action string
	Codes         []string // of findings and cautions
	Cautions      int
	Headline      string
	Numbers       map[string]float64 // those that are known
}
