package scenarios

import (
	"fmt"
	"slices"
)

// Compare returns what of an answer is not as the check expects.
func (c Check) Compare(a Answer) []string {
	var wrong []string
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	if a.Stage != c.Stage {
		say("stage %q, want %q", a.Stage, c.Stage)
	}
	if a.Action != c.Action {
		say("action %q, want %q", a.Action, c.Action)
	}
	for _, code := range c.Codes {
		if !slices.Contains(a.Codes, code) {
			say("no %s", code)
		}
	}
	for _, code := range c.Never {
		if slices.Contains(a.Codes, code) {
			say("%s came up", code)
		}
	}
	for _, n := range c.Numbers {
		v, ok := a.Numbers[n.Name]
		switch {
		case !ok:
			say("%s is not known", n.Name)
		case !(v >= n.Low && v <= n.High):
			say("%s is %.4g, want %g to %g", n.Name, v, n.Low, n.High)
		}
	}
	for _, name := range c.Absent {
		if v, ok := a.Numbers[name]; ok {
			say("%s is %g, and should not be known", name, v)
		}
	}
	if a.Cautions == 0 {
		say("no caution is shown")
	}
	if a.Headline == "" {
		say("no headline")
	}
	if len(wrong) > 0 {
		say("codes %v, headline %q", a.Codes, a.Headline)
	}
	return wrong
}
