package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// The least data for a review, on the filter's own terms: readings that it
// used and complete days of log. Every other morning is enough, and so is a
// log with some gaps. Common practice, no source.
const (
	leastReadings7  = 3
	leastReadings14 = 6
	leastLogged7    = 4
	leastLogged14   = 7
)

// notEnoughData waits at a review for enough readings and logged days in the
// last 7 and 14. Where the test is skipped, the opening cut needs no more than
// the filter: three readings.
func notEnoughData(f *facts) (verdict, bool) {
	v := verdict{action: engine.KeepLogging, askAgainDays: 1}
	if f.estimate == nil {
		v.findings = []Finding{{
			Code: CodeNoEstimate, Severity: Warning,
			Sentence: "Three morning weights between 30 and 200 kg are needed before anything can be said.",
			Numbers:  []Number{{"needed", 3, "1"}},
		}}
	} else if f.stage == MaintenanceTest || !f.isOpening() {
		v.findings = f.dataFindings()
	}
	if len(v.findings) == 0 {
		return verdict{}, false
	}
	v.headline = "Not enough to judge yet. " + v.findings[0].Sentence + " Keep weighing and logging, and ask again."
	return v, true
}

func (f *facts) dataFindings() []Finding {
	var found []Finding
	b := f.basis
	add := func(code Code, what string, have, need, days int) {
		if have >= need {
			return
		}
		found = append(found, Finding{
			Code: code, Severity: Warning,
			Sentence: fmt.Sprintf("There are %d %s of the last %d; %d are needed.", have, what, days, need),
			Numbers:  []Number{{"have", float64(have), "1"}, {"needed", float64(need), "1"}, {"of_days", float64(days), "d"}},
		})
	}
	add(CodeNotEnoughReadings, "usable morning weights", b.ReadingsLast7, leastReadings7, 7)
	add(CodeNotEnoughReadings, "usable morning weights", b.ReadingsLast14, leastReadings14, 14)
	add(CodeNotEnoughLogged, "completely logged days", b.LoggedLast7, leastLogged7, 7)
	add(CodeNotEnoughLogged, "completely logged days", b.LoggedLast14, leastLogged14, 14)
	return found
}
