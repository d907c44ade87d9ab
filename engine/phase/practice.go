package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// The practice table, the way coaches do it by hand: common practice, no
// source, every number of it. The classes of slope and the size of a step
// within its range are our reading.
const (
	steadyPct = 0.1 // %/week: a line flatter than this is steady
	slightPct = 0.5 // and beyond this it is marked

	openMarkedFall, openSteady, openSlightRise, openMarkedRise = 0.10, 0.15, 0.20, 0.25

	tableReadings = 7 // the last so many
	tableLeast    = 4 // fewer make no line worth reading
	waterDays     = 3 // mornings after a change of intake that show water
	// The step grows from 5 to 10 % while the loss falls this far short of the
	// band, or goes this far beyond it, in %/week.
	tableStepSpan = 0.5
)

// practiceOpening reads the line through the test's readings, or through those
// of the last ten days where the test was skipped: a steady or slightly falling
// one asks for 15 % off the intake, slightly rising 20 %, markedly falling 10 %,
// markedly rising 25 %. It is nil with fewer than four readings.
func (f *facts) practiceOpening() *MethodAnswer {
	a := &MethodAnswer{Method: engine.PracticeTable, Action: engine.StartDeficit}
	from := f.asOf - testDays
	if f.stage == MaintenanceTest {
		from = f.plan.Start
	}
	if !f.drawLine(a, from, int(f.asOf-from)+1) {
		return nil
	}
	var share float64
	switch fall := a.RatePctPerWeek; {
	case fall > slightPct:
		share = openMarkedFall
	case fall >= -steadyPct:
		share = openSteady
	case fall >= -slightPct:
		share = openSlightRise
	default:
		share = openMarkedRise
	}
	a.setChange(-share*f.present.IntakeKcal, f.present.IntakeKcal)
	a.Sentence = fmt.Sprintf("The line through the readings shows %s; the table asks for %.0f %% off the intake.", lossWords(a.RatePctPerWeek), 100*share)
	return a
}

// practiceReview reads the line through the last seven readings, the first
// three mornings after a change of intake left out: under the band 5-10 % off
// by how far, over it 5-10 % back, otherwise hold. It is nil with fewer than
// four such readings.
func (f *facts) practiceReview() *MethodAnswer {
	a := &MethodAnswer{Method: engine.PracticeTable, Action: engine.Hold}
	from := f.window.First
	if c := f.intakeChange(); c.OK {
		from = max(from, c.Day+waterDays+1)
	}
	if !f.drawLine(a, from, tableReadings) {
		return nil
	}
	step := func(off float64) float64 {
		return (stepLeast + (stepMost-stepLeast)*min(off/tableStepSpan, 1)) * f.present.IntakeKcal
	}
	asks := "nothing is to change"
	switch rate := a.RatePctPerWeek; {
	case rate < f.plan.BandLowPctPerWeek:
		a.Action = engine.LowerBalance
		a.setChange(-step(f.plan.BandLowPctPerWeek-rate), f.present.IntakeKcal)
		asks = fmt.Sprintf("it asks for %.0f %% off the intake", -a.ChangePct.V)
	case rate > f.plan.BandHighPctPerWeek:
		a.Action = engine.RaiseBalance
		a.setChange(step(rate-f.plan.BandHighPctPerWeek), f.present.IntakeKcal)
		asks = fmt.Sprintf("it gives back %.0f %% of the intake", a.ChangePct.V)
	}
	a.Sentence = fmt.Sprintf("The line through the last readings shows %s; %s.", lossWords(a.RatePctPerWeek), asks)
	return a
}

// drawLine notes in an answer the slope through the last n used readings from a
// day on. It is false where there are too few.
func (f *facts) drawLine(a *MethodAnswer, from engine.Day, n int) bool {
	l, ok := f.lossLine(from, n, f.isUsed)
	if !ok || l.n < tableLeast {
		return false
	}
	a.RatePctPerWeek, a.RateSEPctPerWeek = l.pctPerWeek, l.se
	return true
}
