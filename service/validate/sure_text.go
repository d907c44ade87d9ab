package validate

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"regexp/syntax"
	"unicode/utf8"

	rules "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
)

// uuidPattern is the form that the rule uuid asks for.
const uuidPattern = `^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$`

func text(own *rules.StringRules) ([]check, error) {
	if err := knownOnly(own, "const", "min_len", "max_len", "pattern", "uuid"); err != nil {
		return nil, err
	}
	var out []check
	if own.HasConst() {
		out = append(out, func(v reflect.Value) bool { return v.String() == own.GetConst() })
	}
	if own.HasMinLen() || own.HasMaxLen() {
		least, most := own.GetMinLen(), uint64(math.MaxInt)
		if own.HasMaxLen() {
			most = own.GetMaxLen()
		}
		out = append(out, func(v reflect.Value) bool {
			n := uint64(utf8.RuneCountInString(v.String()))
			return n >= least && n <= most
		})
	}
	for _, p := range []struct {
		on      bool
		pattern string
	}{{own.HasPattern(), own.GetPattern()}, {own.GetUuid(), uuidPattern}} {
		if !p.on {
			continue
		}
		match, err := matcher(p.pattern)
		if err != nil {
			return nil, err
		}
		out = append(out, func(v reflect.Value) bool { return match(v.String()) })
	}
	return out, nil
}

// run is a part of a pattern: so many letters of a set, one after another.
type run struct {
	set         [256]bool
	least, most int
}

// matcher returns a function that tells of texts that surely match a pattern: one that
// is anchored at both ends and, between them, a row of letters and of sets of letters
// that may be repeated, all ASCII. Each part takes as many letters as it can, so a text
// that matches only when a part leaves some to the next is not sure.
func matcher(pattern string) (func(string) bool, error) {
	whole, err := regexp.Compile(pattern)
	if err != nil {
		return nil, err
	}
	tree, err := syntax.Parse(pattern, syntax.Perl)
	if err != nil {
		return nil, err
	}
	parts := flat(tree)
	if n := len(parts); n < 2 || parts[0].Op != syntax.OpBeginText || parts[n-1].Op != syntax.OpEndText {
		return nil, fmt.Errorf("the pattern %s is open at an end, which is not known here", pattern)
	}
	var runs []*run
	for _, p := range parts[1 : len(parts)-1] {
		r, ok := runOf(p)
		if !ok {
			return nil, fmt.Errorf("the pattern %s has a part %s, which is not known here", pattern, p)
		}
		runs = append(runs, r)
	}
	empty := whole.MatchString("")
	return func(s string) bool {
		if s == "" {
			return empty
		}
		at := 0
		for _, r := range runs {
			from := at
			for at < len(s) && at-from < r.most && r.set[s[at]] {
				at++
			}
			if at-from < r.least {
				return false
			}
		}
		return at == len(s)
	}, nil
}

// flat returns the parts of a pattern in a row. Of a part that may be left out it
// returns the part: what matches with it matches.
func flat(re *syntax.Regexp) (out []*syntax.Regexp) {
	switch re.Op {
	case syntax.OpConcat, syntax.OpCapture, syntax.OpQuest:
		for _, sub := range re.Sub {
			out = append(out, flat(sub)...)
		}
		return out
	case syntax.OpLiteral:
		for _, r := range re.Rune {
			out = append(out, &syntax.Regexp{Op: syntax.OpLiteral, Flags: re.Flags, Rune: []rune{r}})
		}
		return out
	}
	return []*syntax.Regexp{re}
}

func runOf(re *syntax.Regexp) (*run, bool) {
	r := &run{least: 1, most: 1}
	if re.Op == syntax.OpRepeat {
		if r.least, r.most = re.Min, re.Max; r.most < 0 {
			r.most = math.MaxInt
		}
		re = re.Sub[0]
	}
	ranges := re.Rune
	switch {
	case re.Flags&syntax.FoldCase != 0:
		return nil, false
	case re.Op == syntax.OpLiteral && len(re.Rune) == 1:
		ranges = []rune{re.Rune[0], re.Rune[0]}
	case re.Op != syntax.OpCharClass:
		return nil, false
	}
	for i := 0; i < len(ranges); i += 2 {
		for c := ranges[i]; c <= ranges[i+1]; c++ {
			if c >= utf8.RuneSelf {
				return nil, false
			}
			r.set[c] = true
		}
	}
	return r, true
}
