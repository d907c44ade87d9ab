// Package rollup turns the entries of one civil day into one row of the window.
package rollup

import (
	"cmp"
	"slices"

	"example.com/steelyard/engine"
)

// Rules numbers the rules of this package. Whoever changes what some entries come
// to raises it: stored days that were made by older rules are then made again.
const Rules = 1

// Result is what one day's entries come to.
type Result struct {
	Row     engine.WindowDay
	Lifts   []engine.LiftDay        // ascending by lift
	BodyFat []engine.BodyFatReading // ascending by the entry's key
	Tapes   []engine.TapeReading    // ascending by the entry's key
}

const (
	errOtherDay    = "rollup: entry of another day"
	errRepeated    = "rollup: two entries with one natural key"
	errNoFact      = "rollup: entry without a fact"
	errUnknownFact = "rollup: fact of an unknown type"
)

// Day rolls up all entries of a day. Their order does not matter.
//
//   - Weight: the earliest reading. A reading with a time of day comes before
//     one without, then the smaller key. A mass without a valid unit is no reading.
//   - Intake: the sum, unknown when any entry is marked partial or has no valid
//     energy. Protein: the sum, known only when the intake is and every intake
//     entry has it.
//   - Steps: the largest count, since two devices count the same steps.
//     Activity energy: the sum of the entries that have it.
//   - Marks: all of them; of several refeed targets the largest.
//   - Check-in: for each question the answer with the last key.
//   - Lifts: see the type. A set without repetitions is no set.
//
// It panics on what the caller must rule out: an entry of another day, one
// natural key twice (the result would depend on their order), or a fact that is
// missing or not one of engine's types by value.
func Day(day engine.Day, entries []engine.Entry) Result {
	sorted := entries
	for _, e := range sorted {
		switch {
		case e.Day != day:
			panic(errOtherDay)
		case e.Fact == nil:
			panic(errNoFact)
		}
	}
	if !slices.IsSortedFunc(sorted, byKindAndKey) { // the order of the log is
		sorted = slices.SortedFunc(slices.Values(entries), byKindAndKey)
	}
	r := roll{day: day}
	for i, e := range sorted {
		if i > 0 && byKindAndKey(sorted[i-1], e) == 0 {
			panic(errRepeated)
		}
		r.add(e.Fact)
	}
	return r.result()
}

func byKindAndKey(a, b engine.Entry) int {
	return cmp.Or(cmp.Compare(a.Fact.Kind(), b.Fact.Kind()), cmp.Compare(a.Key, b.Key))
}

// roll collects the facts of a day in the order of kind and key.
type roll struct {
	day     engine.Day
	out     Result
	minute  engine.Opt // of the weight in the row
	intake  []engine.Intake
	liftSet []engine.LiftSet
}

func (r *roll) add(fact engine.Fact) {
	row := &r.out.Row
	switch f := fact.(type) {
	case engine.WeighIn:
		r.addWeighIn(f)
	case engine.Intake:
		r.intake = append(r.intake, f)
	case engine.Activity:
		if f.Steps.OK && (!row.Steps.OK || f.Steps.V > row.Steps.V) {
			row.Steps = f.Steps
		}
		if kcal := f.Energy.Kcal(); kcal.OK {
			row.ActivityKcal = engine.Some(row.ActivityKcal.Or(0) + kcal.V)
		}
	case engine.LiftSet:
		if f.Reps > 0 {
			r.liftSet = append(r.liftSet, f)
		}
	case engine.Tape:
		r.out.Tapes = append(r.out.Tapes, engine.TapeReading{Day: r.day, Tape: f})
	case engine.BodyFat:
		r.out.BodyFat = append(r.out.BodyFat, engine.BodyFatReading{Day: r.day, BodyFat: f})
	case engine.CheckIn:
		row.CheckIn = answered(row.CheckIn, f)
	case engine.PhotoSet:
		row.HasPhotos = true
	case engine.Mark:
		r.addMark(f)
	default:
		panic(errUnknownFact)
	}
}

// addWeighIn keeps the earliest reading. Facts come in the order of their keys,
// so a later one replaces it only when it is strictly earlier in the day.
func (r *roll) addWeighIn(w engine.WeighIn) {
	kg := w.Weight.Kg()
	if !kg.OK {
		return
	}
	row := &r.out.Row
	earlier := w.MinuteOfDay.OK && (!r.minute.OK || w.MinuteOfDay.V < r.minute.V)
	if row.Readings == 0 || earlier {
		row.WeightKg, r.minute = kg, w.MinuteOfDay
	}
	row.Readings++
}

func (r *roll) addMark(m engine.Mark) {
	if m.Of == engine.MarkUnspecified {
		return
	}
	row := &r.out.Row
	row.Marks = row.Marks.With(m.Of)
	if m.Of == engine.MarkRefeed && m.TargetKcal.OK {
		row.RefeedKcal = engine.Some(max(m.TargetKcal.V, row.RefeedKcal.Or(m.TargetKcal.V)))
	}
}

// answered returns before with every question that after answers replaced.
func answered(before, after engine.CheckIn) engine.CheckIn {
	return engine.CheckIn{
		HungerEase:    cmp.Or(after.HungerEase, before.HungerEase),
		Energy:        cmp.Or(after.Energy, before.Energy),
		Sleep:         cmp.Or(after.Sleep, before.Sleep),
		TrainingDrive: cmp.Or(after.TrainingDrive, before.TrainingDrive),
		WasSlog:       cmp.Or(after.WasSlog, before.WasSlog),
	}
}

func (r *roll) result() Result {
	r.out.Row.IntakeKcal, r.out.Row.ProteinG = eaten(r.intake)
	r.out.Lifts = lifted(r.day, r.liftSet)
	return r.out
}

// eaten sums the intake entries of a day. One that is partial or has no valid
// energy makes the day unknown: a day that looks too small would read as a
// deficit that was not there.
func eaten(entries []engine.Intake) (kcal, proteinG engine.Opt) {
	if len(entries) == 0 {
		return engine.Opt{}, engine.Opt{}
	}
	kcal, proteinG = engine.Some(0), engine.Some(0)
	for _, e := range entries {
		energy := e.Energy.Kcal()
		if e.IsPartial || !energy.OK {
			return engine.Opt{}, engine.Opt{}
		}
		kcal.V += energy.V
		if proteinG.OK = proteinG.OK && e.ProteinG.OK; proteinG.OK {
			proteinG.V += e.ProteinG.V
		}
	}
	if !proteinG.OK {
		proteinG = engine.Opt{}
	}
	return kcal, proteinG
}
