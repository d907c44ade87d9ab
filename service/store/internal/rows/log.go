package rows

import (
	"cmp"
	"iter"
	"slices"

	"example.com/steelyard/engine"
)

// InOrder returns entries in the order of the log: day, kind, key. It panics when
// two have one key, as store.Tx says. What is in order already is not copied.
func InOrder(entries []engine.Entry) []engine.Entry {
	if isInOrder(entries) {
		return entries
	}
	sorted := slices.SortedFunc(slices.Values(entries), compare)
	for i, e := range sorted {
		if i > 0 && compare(e, sorted[i-1]) == 0 {
			panic("store: two entries of one key in one call")
		}
	}
	return sorted
}

func isInOrder(entries []engine.Entry) bool {
	for i := 1; i < len(entries); i++ {
		if compare(entries[i-1], entries[i]) >= 0 {
			return false
		}
	}
	return true
}

func compare(a, b engine.Entry) int {
	if a.Day != b.Day {
		return cmp.Compare(a.Day, b.Day)
	}
	if of, than := a.Fact.Kind(), b.Fact.Kind(); of != than {
		return cmp.Compare(of, than)
	}
	return cmp.Compare(a.Key, b.Key)
}

// Merge returns what is stored once entries are written over it, each in the
// order of the log.
func Merge(stored, written []engine.Entry) []engine.Entry {
	if len(stored) == 0 {
		return written
	}
	out := make([]engine.Entry, 0, len(stored)+len(written))
	for len(stored) > 0 && len(written) > 0 {
		switch order := compare(stored[0], written[0]); {
		case order < 0:
			out, stored = append(out, stored[0]), stored[1:]
		case order > 0:
			out, written = append(out, written[0]), written[1:]
		default:
			stored = stored[1:]
		}
	}
	return append(append(out, stored...), written...)
}

// ByDay returns each day of entries in the order of the log, with those of the day.
func ByDay(log []engine.Entry) iter.Seq2[engine.Day, []engine.Entry] {
	return func(yield func(engine.Day, []engine.Entry) bool) {
		for len(log) > 0 {
			n := 1
			for n < len(log) && log[n].Day == log[0].Day {
				n++
			}
			if !yield(log[0].Day, log[:n]) {
				return
			}
			log = log[n:]
		}
	}
}

// Run returns how many of the first days, ascending, follow each other.
func Run(days []engine.Day) int {
	n := 1
	for n < len(days) && days[n] == days[0]+engine.Day(n) {
		n++
	}
	return n
}
