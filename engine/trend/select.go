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
		i, j := first, last
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			last = j
		case k >= i:
			first = i
		default:
			return v[k]
		}
	}
	return v[k]
}
