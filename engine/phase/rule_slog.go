package phase

import "example.com/steelyard/engine"

// slog answers the first-month question: a first month that was a slog went
// too fast. It eases once; what is eased already is left to the check-ins.
func slog(f *facts) (verdict, bool) {
	if f.strain().WasSlog != engine.Yes || f.arc.eased.OK {
		return verdict{}, false
	}
	return f.ease(Finding{Code: CodeSlog, Severity: Notice, Sentence: "The last weeks were a slog, so the pace was too fast for now."}), true
}
