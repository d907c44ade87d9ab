package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// paused puts a review off while illness or travel is marked: the readings of
// such days say little, and there are better times to eat less.
func paused(f *facts) (verdict, bool) {
	if f.stage != Paused {
		return verdict{}, false
	}
	last, what := f.pausedBy()
	again := last.Day + pauseDays
	sentence := fmt.Sprintf("The log has %s on %s.", what, last.Day)
	return verdict{
		action: engine.Hold,
		headline: sentence + fmt.Sprintf(" Nothing changes before it is over; eating at maintenance meanwhile is fine. The review waits until %s. "+
			"In illness a doctor's word comes first.", again),
		findings:     []Finding{{Code: CodePaused, Severity: Notice, Day: last, Sentence: sentence}},
		askAgainDays: again - f.asOf,
	}, true
}
