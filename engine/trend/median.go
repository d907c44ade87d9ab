package trend

import "slices"

// median returns the middle of v, or the mean of the two in the middle. It
// reorders v, which must not be empty.
func median(v []float64) float64 {
	k := (len(v) - 1) / 2
	low := nth(v, k)
	if len(v)%2 == 1 {
		return low/2 + low/2
	}
	return low/2 + slices.Min(v[k+1:])/2
}

// medianResidual returns the median of y - slope x, worked out in scratch, which
// is as long as they are.
func medianResidual(x, y []float64, slope float64, scratch []float64) float64 {
	for i := range x {
		scratch[i] = y[i] - slope*x[i]
	}
	return median(scratch)
}

func allFinite(v []float64) bool {
	for _, x := range v {
		if !isFinite(x) {
			return false
		}
	}
	return true
}
