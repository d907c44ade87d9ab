package trend

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestNth_IsThePlaceInOrder, for each place, many ties and lengths on both sides
// of where sorting begins.
func TestNth_IsThePlaceInOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{1, 2, 15, 16, 17, 18, 40, 100, 333} {
		for _, kinds := range []int{1, 3, n, 1_000_000} {
			for _, shape := range []func([]float64){func([]float64) {}, slices.Sort[[]float64], slices.Reverse[[]float64]} {
				v := make([]float64, n)
				for i := range v {
					v[i] = float64(r.IntN(kinds)) - 2
				}
				slices.Sort(v)
				want := slices.Clone(v)
				r.Shuffle(n, func(i, j int) { v[i], v[j] = v[j], v[i] })
				shape(v)
				for k := range n {
					got := slices.Clone(v)
					if x := nth(got, k); x != want[k] || got[k] != x || k > 0 && slices.Max(got[:k]) > x || slices.Min(got[k:]) < x {
						t.Fatalf("%d numbers of %d kinds: at %d is %v, want %v", n, kinds, k, x, want[k])
					}
				}
				if m, at := median(slices.Clone(v)), want[(n-1)/2]/2+want[n/2]/2; m != at {
					t.Fatalf("%d numbers of %d kinds: the median is %v, want %v", n, kinds, m, at)
				}
			}
		}
	}
}
