package strength

// Reason says why a number is not known.
type Reason uint8

// Reasons. ReasonNone means that the numbers are known.
const (
	ReasonNone             Reason = iota
	NoCut                         // no cut has begun: there is nothing to compare with
	NoEstimate                    // no set from which a maximum can be estimated
	TooFewSessions                // for a trend
	TooShort                      // the sessions lie too close together, or the cut has only begun
	TooFewBaselineSessions        // in the weeks before the cut
	TooFewRecentSessions          // in the last two weeks
	TooShortBaseline              // the lifts were hardly logged before the cut
	NothingLogged                 // no lift at all in the last two weeks
)

// String says it in words that follow "not known: ".
func (r Reason) String() string {
	switch r {
	case NoCut:
		return "no cut has begun"
	case NoEstimate:
		return "no set with a load and 1 to 10 repetitions"
	case TooFewSessions:
		return "fewer than 5 sessions in 8 weeks"
	case TooShort:
		return "the sessions cover too short a time"
	case TooFewBaselineSessions:
		return "fewer than 2 sessions in the 4 weeks before the cut"
	case TooFewRecentSessions:
		return "fewer than 2 sessions in the last 2 weeks"
	case TooShortBaseline:
		return "the lifts were logged for less than a week before the cut"
	case NothingLogged:
		return "no lift was logged in the last 2 weeks"
	}
	return ""
}
