package trend

import (
	"math/bits"
	"slices"
)

// sortUnder is how few numbers are sorted rather than parted again.
const sortUnder = 16

// nth returns what v[k] would be if v were sorted, in a time that grows with its
// length. It reorders v: what comes before k is no more, what comes after no
// less. No number may be a NaN.
func nth(v []float64, k int) float64 {
	first, last := 0, len(v)-1
	for tries := 2 * bits.Len(uint(len(v))); first < last; tries-- {
		if last-first < sortUnder || tries == 0 { // or the pivots have been bad ones
			slices.Sort(v[first : last+1])
			break
		}
		a, b, c := v[first], v[first+(last-first)/2], v[last]
		pivot := max(min(a, b), min(max(a, b), c))
		// What is less than the pivot, then its equals; on numbers in no order, a
		// branch for each would be guessed wrong every other time.
		less := first
		for i := first; i <= last; i++ {
			x := v[i]
			v[i], v[less] = v[less], x
			less += one(x < pivot)
		}
		if k < less {
			last = less - 1
			continue
		}
		more := less
		for i := less; i <= last; i++ {
			x := v[i]
			v[i], v[more] = v[more], x
			more += one(x <= pivot)
		}
		if k < more {
			return v[k]
		}
		first = more
	}
	return v[k]
}

// one is 1 for true, without a branch.
func one(is bool) int {
	n := 0
	if is {
		n = 1
	}
	return n
}
