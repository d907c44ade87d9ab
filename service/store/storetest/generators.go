package storetest

import (
	"flag"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// fixSeed makes rapid draw the same cases in each run, unless a seed was asked
// for. A failure repeats by itself then, and needs no file to be kept.
func fixSeed(t *testing.T) {
	seed := flag.Lookup("rapid.seed")
	if seed.Value.String() == "0" {
		must(t, seed.Value.Set("20260302"))
		must(t, flag.Set("rapid.nofailfile", "true"))
	}
}

var (
	dayGen = rapid.Map(rapid.IntRange(0, 6), func(n int) engine.Day { return day0 + engine.Day(n) })
	keyGen = rapid.SampledFrom([]string{"1", "2"})
	optGen = rapid.Custom(func(t *rapid.T) engine.Opt {
		if !rapid.Bool().Draw(t, "known") {
			return engine.Opt{}
		}
		return engine.Some(float64(rapid.IntRange(0, 3000).Draw(t, "value")) / 8)
	})
	idGen = rapid.Custom(func(t *rapid.T) engine.ID {
		return engine.ID{Day: dayGen.Draw(t, "day"), Kind: engine.Kind(rapid.IntRange(1, 9).Draw(t, "kind")), Key: keyGen.Draw(t, "key")}
	})
	entryGen = rapid.Custom(func(t *rapid.T) engine.Entry {
		return engine.Entry{Day: dayGen.Draw(t, "day"), Key: keyGen.Draw(t, "key"), Fact: factGen.Draw(t, "fact")}
	})
	factGen = rapid.OneOf(
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.WeighIn{Weight: massGen.Draw(t, "weight"), MinuteOfDay: optGen.Draw(t, "minute")}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.Intake{Energy: energyGen.Draw(t, "energy"), ProteinG: optGen.Draw(t, "protein"), IsPartial: rapid.Bool().Draw(t, "partial")}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.Activity{Steps: optGen.Draw(t, "steps"), Energy: energyGen.Draw(t, "energy"), Minutes: optGen.Draw(t, "minutes")}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.LiftSet{
				Lift: rapid.SampledFrom([]string{"press", "squat"}).Draw(t, "lift"), Load: massGen.Draw(t, "load"),
				Reps: rapid.IntRange(0, 15).Draw(t, "reps"), RepsInReserve: optGen.Draw(t, "reserve"),
			}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.Tape{WaistCm: optGen.Draw(t, "waist"), HipCm: optGen.Draw(t, "hip"), UpperArmCm: optGen.Draw(t, "arm")}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.BodyFat{Pct: optGen.Draw(t, "pct").Or(20), Method: engine.BodyFatMethod(rapid.IntRange(0, 5).Draw(t, "method"))}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			score := rapid.IntRange(0, 5)
			return engine.CheckIn{
				HungerEase: score.Draw(t, "hunger"), Energy: score.Draw(t, "energy"), Sleep: score.Draw(t, "sleep"),
				TrainingDrive: score.Draw(t, "drive"), WasSlog: engine.Answer(rapid.IntRange(0, 2).Draw(t, "slog")),
			}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.PhotoSet{Reference: rapid.SampledFrom([]string{"", "album/1"}).Draw(t, "reference")}
		}),
		rapid.Custom(func(t *rapid.T) engine.Fact {
			return engine.Mark{Of: engine.MarkKind(rapid.IntRange(0, 8).Draw(t, "mark")), TargetKcal: optGen.Draw(t, "target")}
		}),
	)
	massGen = rapid.Custom(func(t *rapid.T) engine.Mass {
		return engine.Mass{Value: optGen.Draw(t, "mass").V, Unit: engine.MassUnit(rapid.IntRange(0, 3).Draw(t, "unit"))}
	})
	energyGen = rapid.Custom(func(t *rapid.T) engine.Energy {
		return engine.Energy{Value: optGen.Draw(t, "kcal").V, Unit: engine.EnergyUnit(rapid.IntRange(0, 2).Draw(t, "unit"))}
	})
)
