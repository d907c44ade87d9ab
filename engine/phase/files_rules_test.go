package phase

import (
	"slices"
	"testing"

	"example.com/steelyard/engine"
	files "example.com/steelyard/testdata/scenarios"
)

// Words for what decides where no rule of the list does.
const (
	byHold   = "hold"
	byClosed = "closed"
)

// deciders names what decides: one rule, or every safety rule that refers.
func deciders(f *facts) []string {
	v := f.decide()
	var names []string
	switch {
	case f.stage == Closed:
		names = append(names, byClosed)
	case v.action == engine.Refer:
		for _, r := range safetyRules() {
			if _, ok := r.ask(f); ok {
				names = append(names, r.name)
			}
		}
	case v.rule == "":
		names = append(names, byHold)
	default:
		names = append(names, v.rule)
	}
	return names
}

func factsAt(st files.State, day engine.Day) *facts {
	return newFacts(windowOf(st.Entries), st.Profile, st.Plan, day)
}

// missingData are the codes with which something is missing for a judgement.
var missingData = []Code{CodeNotEnoughReadings, CodeNotEnoughLogged, CodeNoEstimate, CodeNoLine, CodeProfileIncomplete}

// TestFilesCoverRules holds what the scenarios claim of the rules against the
// rules, and walks the list of rules for one that lacks a scenario in which it
// decides, one with data enough in which another does, and one in which its
// data are missing. Where a rule asks for nothing but what decides it, the last
// is a scenario in which it decides without any log.
func TestFilesCoverRules(t *testing.T) {
	all := loadFiles(t)
	positive, negative, missing := map[string]int{}, map[string]int{}, map[string]int{}
	needs := map[string][]files.Removal{} // by rule: what silences it
	known := append(Rules(), byHold, byClosed)
	each := func(look func(s files.Scenario, c files.Check, st files.State, decided []string)) {
		for _, s := range all {
			for _, c := range s.Checks {
				st, err := s.At(c)
				if err != nil {
					t.Fatal(err)
				}
				look(s, c, st, deciders(factsAt(st, c.Day)))
			}
		}
	}
	each(func(s files.Scenario, c files.Check, _ files.State, decided []string) {
		for _, name := range append([]string{c.Rule, c.Silenced, c.Unmoved}, c.Not...) {
			if name != "" && !slices.Contains(known, name) {
				t.Errorf("%s, %s: there is no rule %q", s.File, c.Day, name)
			}
		}
		if !slices.Contains(decided, c.Rule) {
			t.Errorf("%s, %s: %v decides, not %s", s.File, c.Day, decided, c.Rule)
		} else if c.Without.IsEmpty() {
			positive[c.Rule]++
		}
		if c.Without.IsEmpty() {
			return
		}
		full := c
		full.Without = files.Removal{}
		whole, err := s.At(full)
		if err != nil {
			t.Fatal(err)
		}
		with := deciders(factsAt(whole, c.Day))
		rule := c.Silenced + c.Unmoved
		if !slices.Contains(with, rule) {
			t.Errorf("%s, %s: with all data %v decides, not %s", s.File, c.Day, with, rule)
		}
		if c.Silenced != "" {
			if slices.Contains(decided, rule) {
				t.Errorf("%s, %s: %s decides without its data", s.File, c.Day, rule)
			}
			needs[rule] = append(needs[rule], c.Without)
		}
		missing[rule]++
	})
	each(func(s files.Scenario, c files.Check, st files.State, decided []string) {
		for _, name := range c.Not {
			if slices.Contains(decided, name) {
				t.Errorf("%s, %s: %s decides", s.File, c.Day, name)
			}
			if code, lacks := lacking(st, c.Day); lacks {
				t.Errorf("%s, %s: %s stays silent, but data are missing: %s", s.File, c.Day, name, code)
			}
			if need := needs[name]; len(need) > 0 && !slices.ContainsFunc(need, func(r files.Removal) bool { return st.Holds(r, c.Day) }) {
				t.Errorf("%s, %s: %s stays silent, but this log lacks the kinds of data without which it is silent", s.File, c.Day, name)
			}
			negative[name]++
		}
	})
	for _, name := range Rules() {
		if positive[name] == 0 {
			t.Errorf("no scenario in which %s decides", name)
		}
		if negative[name] == 0 {
			t.Errorf("no scenario with data enough in which %s does not decide", name)
		}
		if missing[name] == 0 {
			t.Errorf("no scenario in which the data of %s are missing", name)
		}
	}
}

// lacking returns the code with which a recommendation says that something is
// missing for a judgement.
func lacking(st files.State, day engine.Day) (Code, bool) {
	for _, x := range Recommend(windowOf(st.Entries), st.Profile, st.Plan, day).Findings {
		if slices.Contains(missingData, x.Code) {
			return x.Code, true
		}
	}
	return "", false
}

// TestFilesShowEveryAnswer: no stage, action or code goes without a scenario.
func TestFilesShowEveryAnswer(t *testing.T) {
	seen := map[string]bool{}
	codes := map[string]bool{}
	for _, s := range loadFiles(t) {
		for _, c := range s.Checks {
			seen[c.Stage], seen[c.Action] = true, true
			for _, code := range c.Codes {
				codes[code] = true
			}
		}
	}
	for _, word := range append(slices.Clone(files.Stages), files.Actions[1:]...) {
		if !seen[word] {
			t.Errorf("no scenario with %s", word)
		}
	}
	for _, code := range declaredCodes(t) {
		if !codes[string(code)] {
			t.Errorf("no scenario in which %s comes up", code)
		}
	}
	if len(stageWords) != len(files.Stages) || len(files.Actions) != int(engine.Refer)+1 {
		t.Errorf("%d stages and %d actions have words", len(stageWords), len(files.Actions))
	}
}
