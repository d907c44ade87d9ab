// Package engine holds the value types that everything in Steelyard speaks:
// civil days, log entries, the rolling window, the profile and the plan.
// Its subpackages compute on them: trend, balance, physiology, strength, phase.
//
// Conventions, true in every package below this one:
//
//   - Values in, values out. No context, no I/O, no clock, no goroutine, no
//     random numbers, no iteration over a map into a result. The same input
//     gives the same bytes. A test in this folder enforces it.
//   - Days are civil days (the trainee's local date). Instants never get here.
//   - Units stand in names: WeightKg, IntakeKcal, RatePctPerWeek. A positive
//     rate is a loss.
//   - What is unknown is an Opt with OK == false: never 0, never NaN.
//   - Too little data is a result that says so, not an error. Panics are kept
//     for a caller's programming error.
//   - Every constant names its source: a publication, "common practice, no
//     source", or "fitted on the virtual cohort" (simulated trainees).
//
// Everything here is general information and not medical advice; local rules
// and licensed practice come first.
package engine
