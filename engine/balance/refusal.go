package balance

import "example.com/steelyard/engine"

// Reason says why a reading was not used.
type Reason uint8

// Reasons. ReasonNone means that nothing was refused.
const (
	ReasonNone           Reason = iota
	OutOfRange                  // outside 30..200 kg
	FarFromFirstReadings        // one of the first three, more than 2.5 kg from their median
	FarFromExpected             // does not fit the days around it
)

// String says it in words that follow "it".
func (r Reason) String() string {
	switch r {
	case OutOfRange:
		return "is outside the possible range"
	case FarFromFirstReadings:
		return "is too far from the other first readings"
	case FarFromExpected:
		return "does not fit the days before it"
	}
	return ""
}

// Refusal is a reading that was not used.
type Refusal struct {
	Day      engine.Day
	WeightKg float64
	Reason   Reason
}
