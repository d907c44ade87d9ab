package trend

import (
	"math"
	"slices"

	"example.com/steelyard/engine/internal/dist"
)

// TheilSenLine is a straight line that up to 29 % of wild readings cannot carry
// off, with an interval that presumes no distribution of the residuals.
type TheilSenLine struct {
	N         int
	Slope     float64
	Intercept float64

	slopes  []float64 // of every pair of points, the lower half before the upper
	scoreSD float64   // of Kendall's score where there is no slope
}

// TheilSen fits the line
//
//	Slope = median of (yj - yi)/(xj - xi) over all pairs with xi < xj
//	Intercept = median of y - Slope x
//
// in the units of the data. It is false when there is no line: fewer than two
// points, all x equal, or a number that is not finite. It panics when x and y
// differ in length. Time and memory grow with the square of their length.
//
// Source: Theil H 1950 and Sen PK, J Am Stat Assoc 1968;63:1379-1389 (not
// read; as cited by the documentation of scipy's theilslopes, against which it
// is checked).
func TheilSen(x, y []float64) (TheilSenLine, bool) {
	if len(x) != len(y) {
		panic(errLengths)
	}
	if !allFinite(x) { // one of y is found in its slopes
		return TheilSenLine{}, false
	}
	n := len(x)
	room := make([]float64, n+n*max(n-1, 0)/2)
	scratch, slopes := room[:n], room[n:n]
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	if len(slopes) == 0 || !allFinite(slopes) {
		return TheilSenLine{}, false
	}
	l := TheilSenLine{N: n, Slope: median(slopes), slopes: slopes, scoreSD: scoreSD(x, y, scratch)}
	l.Intercept = medianResidual(x, y, l.Slope, scratch)
	if !isFinite(l.Intercept) {
		return TheilSenLine{}, false
	}
	return l, true
}

// SlopeInterval returns Sen's two-sided interval of the slope at a level
// between 0 and 1, for example 0.80: of the m slopes in order, those at the
// ranks
//
//	(m - z sd)/2 and (m + z sd)/2 + 1, rounded
//
// with z the normal quantile of the level and sd that of Kendall's score, ties
// allowed for. It is false for a level that is not strictly between 0 and 1,
// and when there are too few points for it: four reach 0.80, five 0.95.
//
// Readings are taken to scatter independently, as in Fit.
func (l TheilSenLine) SlopeInterval(level float64) (low, high float64, ok bool) {
	upper := 0.5 + level/2
	if !(level > 0 && upper < 1) {
		return 0, 0, false
	}
	m, c := float64(len(l.slopes)), dist.NormalQuantile(upper)*l.scoreSD
	first, last := int(math.RoundToEven((m-c)/2))-1, int(math.RoundToEven((m+c)/2))
	if first < 0 { // last lies as far from the other end
		return 0, 0, false
	}
	half := (len(l.slopes) - 1) / 2 // the one that the median parted them at
	var room [128]float64           // what 16 points take, on the stack
	slopes := append(room[:0], l.slopes...)
	return nth(slopes[:half+1], first), nth(slopes[half:], last-half), true
}

// scoreSD returns the standard deviation that Kendall's score, concordant less
// discordant pairs, has where x and y are not related:
//
//	18 sd^2 = n (n-1)(2n+5) - sum of t (t-1)(2t+5) over groups of t equal x, and of y
//
// It sorts them in scratch, which is as long as they are.
func scoreSD(x, y, scratch []float64) float64 {
	v := pairs(len(x))
	for _, values := range [...][]float64{x, y} {
		copy(scratch, values)
		slices.Sort(scratch)
		for i, j := 0, 0; i < len(scratch); i = j {
			for j < len(scratch) && scratch[j] == scratch[i] {
				j++
			}
			v -= pairs(j - i)
		}
	}
	return math.Sqrt(max(v, 0) / 18)
}

func pairs(n int) float64 { return float64(n) * float64(n-1) * float64(2*n+5) }
