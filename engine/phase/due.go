package phase

import "example.com/steelyard/engine"

// DueReason is why a trainee is due a talk. Stored: never reorder.
type DueReason uint8

// Reasons, most pressing last to first by name only; the list is by day.
const (
	DueUnspecified DueReason = iota
	DueReview
	DueStoppedLogging
	DueCaution
	DueMilestone
)

// Due is one reason to talk to a trainee, from a day on.
type Due struct {
	Reason DueReason
	From   engine.Day
	Until  engine.OptDay // the last day it is due; unknown: until something changes
	Line   string        // for the front desk
}
