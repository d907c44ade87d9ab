package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine/balance"
)

// rateWords says a rate with its 80 % range: "a loss of 0.42 % of body weight
// a week (80 % range 0.21 to 0.63)".
func rateWords(e *balance.Estimate) string {
	low, high := e.Interval(0.80)
	return fmt.Sprintf("%s (80 %% range %s)", lossWords(e.RatePctPerWeek), rangeWords(low, high))
}

// rateWords are those of the estimate, which several sentences say.
func (f *facts) rateWords() string {
	if f.rateSaid == "" {
		f.rateSaid = rateWords(f.estimate)
	}
	return f.rateSaid
}

// lossWords says a rate: positive is a loss.
func lossWords(pctPerWeek float64) string {
	if math.Round(100*pctPerWeek) < 0 {
		return fmt.Sprintf("a gain of %.2f %% of body weight a week", -pctPerWeek)
	}
	return fmt.Sprintf("a loss of %.2f %% of body weight a week", math.Abs(pctPerWeek))
}

// rangeWords says a range of rates without a sign: "0.21 to 0.63", "0.10
// gained to 0.34 lost". A range of gains is told from the smaller one.
func rangeWords(low, high float64) string {
	switch {
	case math.Round(100*low) >= 0:
		return fmt.Sprintf("%.2f to %.2f", math.Abs(low), high)
	case math.Round(100*high) <= 0:
		return fmt.Sprintf("%.2f to %.2f gained", math.Abs(high), -low)
	}
	return fmt.Sprintf("%.2f gained to %.2f lost", -low, high)
}

// chanceWords says a probability; what is nearly sure is not told as sure.
func chanceWords(p float64) string {
	switch {
	case p < 0.01:
		return "under 1 %"
	case p > 0.99:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// worthWords says why a change is made on a chance of less than a half.
func worthWords(p float64) string {
	if p >= 0.5 {
		return ""
	}
	return fmt.Sprintf(", and from %.0f %% on a small step costs less than waiting", 100*offP)
}
