package scenarios

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.com/steelyard/engine"
)

// read reads a check of a scenario with so many edits.
func (t checkText) read(edits int) (Check, error) {
	c := Check{
		AfterEdits: t.AfterEdits, Stage: t.Stage, Action: t.Action, Codes: t.Codes, Never: t.Never, Absent: t.Absent,
		Rule: t.Rule, Not: t.Not, Silenced: t.Silenced, Unmoved: t.Unmoved,
	}
	var err error
	if c.Day, err = engine.ParseDay(t.Day); err != nil {
		return Check{}, fmt.Errorf("day: %w", err)
	}
	if t.AfterEdits < 0 || t.AfterEdits > edits {
		return Check{}, fmt.Errorf("after_edits: there are %d edits", edits)
	}
	if c.Without, err = t.Without.read(); err != nil {
		return Check{}, fmt.Errorf("without.%w", err)
	}
	if !slices.Contains(Stages, t.Stage) {
		return Check{}, fmt.Errorf("stage: %q is none of %s", t.Stage, strings.Join(Stages, ", "))
	}
	if _, err := word(Actions, t.Action); err != nil {
		return Check{}, fmt.Errorf("action: %w", err)
	}
	for _, name := range sorted(t.Numbers) {
		n := Number{Name: name}
		if n.Low, n.High, err = bounds(t.Numbers[name]); err != nil {
			return Check{}, fmt.Errorf("numbers.%s: %q: %w", name, t.Numbers[name], err)
		}
		c.Numbers = append(c.Numbers, n)
	}
	switch {
	case c.Rule == "":
		return Check{}, errors.New("rule: the rule that decides must be named")
	case slices.Contains(c.Not, c.Rule):
		return Check{}, errors.New("not: names the rule that decides")
	case (c.Silenced != "" || c.Unmoved != "") == c.Without.IsEmpty():
		return Check{}, errors.New("without: belongs to a check of a rule that is silenced or unmoved by it")
	case c.Unmoved != "" && !c.Without.IsWholeLog():
		return Check{}, errors.New("unmoved: is shown without any log (log: all)")
	case c.Unmoved != "" && c.Unmoved != c.Rule:
		return Check{}, errors.New("unmoved: must name the rule that decides")
	case c.Silenced != "" && (c.Silenced == c.Rule || c.Unmoved != ""):
		return Check{}, errors.New("silenced: must name another rule than the one that decides")
	}
	return c, nil
}

// bounds reads "0.62 ± 0.1" or "1900..2100".
func bounds(text string) (low, high float64, err error) {
	if a, b, ok := strings.Cut(text, "±"); ok {
		mid, err := strconv.ParseFloat(strings.TrimSpace(a), 64)
		if err != nil {
			return 0, 0, errors.New("is not a number with a tolerance")
		}
		tolerance, err := number(strings.TrimSpace(b))
		if err != nil {
			return 0, 0, errors.New("is not a number with a tolerance")
		}
		return mid - tolerance, mid + tolerance, nil
	}
	a, b, ok := strings.Cut(text, "..")
	low, errLow := strconv.ParseFloat(a, 64)
	high, errHigh := strconv.ParseFloat(b, 64)
	if !ok || errLow != nil || errHigh != nil || low > high {
		return 0, 0, errors.New("is neither a number with a tolerance, 0.62 ± 0.1, nor a range, 0.5..0.7")
	}
	return low, high, nil
}
