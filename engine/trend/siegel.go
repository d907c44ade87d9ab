package trend

// RepeatedMedianLine is a straight line that up to half of wild readings cannot
// carry off.
type RepeatedMedianLine struct {
	N         int
	Slope     float64
	Intercept float64
}

// RepeatedMedian fits the line
//
//	Slope = median over i of (median over j of (yj - yi)/(xj - xi))
//	Intercept = median of y - Slope x
//
// over pairs with different x. Domain, panic and cost as for TheilSen. It has
// no interval: there is none in common use.
//
// Source: Siegel AF, Biometrika 1982;69:242-244 (not read; as cited by the
// documentation of scipy's siegelslopes, against which it is checked).
func RepeatedMedian(x, y []float64) (RepeatedMedianLine, bool) {
	if len(x) != len(y) {
		panic(errLengths)
	}
	if !allFinite(x) { // one of y is found in its slopes
		return RepeatedMedianLine{}, false
	}
	var medians []float64
	slopes := make([]float64, 0, len(x))
	for i := range x {
		slopes = slopes[:0]
		for j := range x {
			if x[j] != x[i] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
		if !allFinite(slopes) {
			return RepeatedMedianLine{}, false
		}
		if len(slopes) > 0 {
			medians = append(medians, median(slopes))
		}
	}
	if len(medians) == 0 {
		return RepeatedMedianLine{}, false
	}
	l := RepeatedMedianLine{N: len(x), Slope: median(medians)}
	l.Intercept = medianResidual(x, y, l.Slope, make([]float64, len(x)))
	if !isFinite(l.Intercept) {
		return RepeatedMedianLine{}, false
	}
	return l, true
}
