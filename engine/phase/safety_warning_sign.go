package phase

import "example.com/steelyard/engine"

// warningSignDays is how long a warning sign stops a deficit: four weeks, one
// cycle; common practice, no source.
const warningSignDays = 28

var warningSigns = []struct {
	of   engine.MarkKind
	name string
}{
	{engine.MarkFainting, "fainting"},
	{engine.MarkPalpitations, "palpitations"},
	{engine.MarkMissedPeriod, "a missed period"},
}

// warningSign refers a trainee with fainting, palpitations or a missed period
// marked in the last 28 days, today's included. Source: clinical common sense,
// no single publication.
func warningSign(f *facts) (Finding, bool) {
	for d := f.asOf; d > f.asOf-warningSignDays; d-- {
		for _, s := range warningSigns {
			if f.row(d).Marks.Has(s.of) {
				return Finding{
					Code:     CodeWarningSign,
					Day:      engine.SomeDay(d),
					Sentence: "The log has " + s.name + " on " + d.String() + "; that is a sign to stop the deficit and to see a doctor.",
				}, true
			}
		}
	}
	return Finding{}, false
}
