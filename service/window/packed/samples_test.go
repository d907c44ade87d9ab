package packed

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// usual is a trainee with n days of a usual log, 15 % of each number missing.
func usual(n int) store.Snapshot {
	rnd := rand.New(rand.NewPCG(1, 2))
	noted := func(v float64) engine.Opt {
		if rnd.Float64() < 0.15 {
			return engine.Opt{}
		}
		return engine.Some(v)
	}
	round := func(v float64, per float64) float64 { return math.Round(v*per) / per }
	s := store.Snapshot{
		Head: store.Head{Incarnation: "00112233445566778899aabbccddeeff", Revision: 412},
		Trainee: store.Trainee{
			ID: "t-invented", DisplayName: "Invented Trainee", TimeZone: "Etc/UTC",
			Profile: engine.Profile{Sex: engine.Female, BirthDate: engine.SomeDay(7000), HeightCm: engine.Some(171.5), Activity: engine.LowActive},
			Created: time.Unix(1_700_000_000, 0).UTC(), Updated: time.Unix(1_760_000_000, 0).UTC(),
		},
		Window: engine.Window{First: 20000},
	}
	for i := range n {
		d := engine.WindowDay{
			WeightKg:     noted(round(84-float64(i)/30+rnd.NormFloat64()*0.5, 100)),
			IntakeKcal:   noted(round(2000+rnd.NormFloat64()*180, 1)),
			ProteinG:     noted(round(140+rnd.NormFloat64()*15, 1)),
			Steps:        noted(round(9000+rnd.NormFloat64()*2500, 1)),
			ActivityKcal: noted(round(250+rnd.NormFloat64()*80, 1)),
		}
		if d.WeightKg.OK {
			d.Readings = 1
		}
		if i%7 == 6 {
			d.CheckIn = engine.CheckIn{HungerEase: 3, Energy: 4, Sleep: 2, TrainingDrive: 5, WasSlog: engine.No}
		}
		if i%14 == 3 {
			d.Marks, d.RefeedKcal = d.Marks.With(engine.MarkRefeed), engine.Some(2600)
		}
		s.Window.Days = append(s.Window.Days, d)
	}
	return s
}

// whole is usual with a plan, decisions, lifts, body fat and tapes.
func whole(n int) store.Snapshot {
	s := usual(n)
	p := engine.DefaultPlan(20005)
	p.ID, p.GoalWeightKg = "cut-1", engine.Some(76)
	for i := range 6 {
		p.Decisions = append(p.Decisions, engine.Decision{
			ID: string(rune('a' + i)), From: 20010 + engine.Day(7*i), Action: engine.Hold,
			Target: engine.Target{IntakeKcal: 1950.5, ActivityKcal: 125, Refeed: engine.Refeed{EveryDays: 14, IntakeKcal: 2600}}, By: "a coach",
		})
	}
	s.Plan = &store.Plan{Plan: p, Created: s.Trainee.Created, Updated: s.Trainee.Updated}
	for i := range n / 2 {
		day := s.Window.First + engine.Day(2*i)
		for _, lift := range []string{"back-squat", "press"} {
			s.Window.Lifts = append(s.Window.Lifts, engine.LiftDay{Day: day, Lift: lift, BestE1RM: engine.Some((60 + float64(i/10)*2.5) * (1 + 5.0/30)), Sets: 3, HardSets: 2})
		}
	}
	s.Window.BodyFat = []engine.BodyFatReading{{Day: 20001, BodyFat: engine.BodyFat{Pct: 27.25, Method: engine.BodyFatTape}}}
	s.Window.Tapes = []engine.TapeReading{{Day: 20001, Tape: engine.Tape{WaistCm: engine.Some(88.5), HipCm: engine.Some(101)}}}
	return s
}

// Generators of anything that the types can hold, as far as it is a number.
var (
	numberGen = rapid.OneOf(
		rapid.Map(rapid.IntRange(0, 40000), func(n int) float64 { return float64(n) / 10 }),
		rapid.Map(rapid.IntRange(0, 400000), func(n int) float64 { return float64(n) / 1000 }),
		rapid.Map(rapid.IntRange(0, 4000), func(n int) float64 { return engine.Mass{Value: float64(n) / 10, Unit: engine.Pound}.Kg().V }),
		rapid.Map(rapid.IntRange(0, 20000), func(n int) float64 {
			return engine.Energy{Value: float64(n), Unit: engine.Kilojoule}.Kcal().V
		}),
		rapid.Float64(), // extremes and subnormals too
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1 << 53, -(1 << 53), 1<<53 + 2, math.MaxFloat64, math.SmallestNonzeroFloat64, math.Inf(1), math.Inf(-1)}),
	)
	optGen = rapid.Custom(func(t *rapid.T) engine.Opt {
		if !rapid.Bool().Draw(t, "known") {
			return engine.Opt{}
		}
		return engine.Some(numberGen.Draw(t, "number"))
	})
	textGen = rapid.OneOf(rapid.SampledFrom([]string{"", "a coach", "press", "\x00"}), rapid.String())
	dayGen  = rapid.OneOf(rapid.Int32Range(19000, 21000), rapid.Int32())
	timeGen = rapid.Custom(func(t *rapid.T) time.Time {
		return time.Unix(rapid.Int64Range(-1<<40, 1<<40).Draw(t, "sec"), rapid.Int64Range(0, 999_999_999).Draw(t, "nsec")).UTC()
	})
	intGen = rapid.OneOf(rapid.IntRange(0, 6), rapid.Int())
	rowGen = rapid.Custom(func(t *rapid.T) engine.WindowDay {
		if rapid.Bool().Draw(t, "empty") {
			return engine.WindowDay{}
		}
		return engine.WindowDay{
			WeightKg: optGen.Draw(t, "weight"), Readings: intGen.Draw(t, "readings"), IntakeKcal: optGen.Draw(t, "intake"), ProteinG: optGen.Draw(t, "protein"),
			Steps: optGen.Draw(t, "steps"), ActivityKcal: optGen.Draw(t, "activity"), Marks: engine.MarkSet(rapid.Uint16().Draw(t, "marks")), RefeedKcal: optGen.Draw(t, "refeed"),
			CheckIn: engine.CheckIn{
				HungerEase: intGen.Draw(t, "hunger"), Energy: intGen.Draw(t, "energy"), Sleep: intGen.Draw(t, "sleep"), TrainingDrive: intGen.Draw(t, "drive"),
				WasSlog: engine.Answer(rapid.Uint8().Draw(t, "slog")),
			},
			HasPhotos: rapid.Bool().Draw(t, "photos"),
		}
	})
	planGen = rapid.Custom(func(t *rapid.T) *store.Plan {
		flag := func(s string) bool { return rapid.Bool().Draw(t, s) }
		num := func(s string) float64 { return numberGen.Draw(t, s) }
		return &store.Plan{
			Created: timeGen.Draw(t, "created"), Updated: timeGen.Draw(t, "updated"),
			Plan: engine.Plan{
				ID: textGen.Draw(t, "id"), State: engine.PlanState(rapid.Uint8().Draw(t, "state")), Start: engine.Day(dayGen.Draw(t, "start")),
				GoalWeightKg: optGen.Draw(t, "goal"), GoalBodyFatPct: optGen.Draw(t, "fat"), Method: engine.Method(rapid.Uint8().Draw(t, "method")),
				SkipMaintenanceTest: flag("skip"), BandLowPctPerWeek: num("low"), BandHighPctPerWeek: num("high"), PacePctPerWeek: num("pace"),
				FoodLever: flag("food"), ActivityLever: flag("activity"), BaseActivityKcal: num("base"), ActivityCapKcal: num("cap"),
				IntakeFloorKcal: optGen.Draw(t, "floor"), AllowRefeeds: flag("refeeds"), WeekendExtraKcal: num("weekend"),
				Decisions: rapid.SliceOfN(decisionGen, 0, 5).Draw(t, "decisions"),
			},
		}
	})
	decisionGen = rapid.Custom(func(t *rapid.T) engine.Decision {
		return engine.Decision{
			ID: textGen.Draw(t, "id"), From: engine.Day(dayGen.Draw(t, "from")), Action: engine.Action(rapid.Uint8().Draw(t, "action")),
			Target: engine.Target{
				IntakeKcal: numberGen.Draw(t, "intake"), ActivityKcal: numberGen.Draw(t, "activity"),
				Refeed: engine.Refeed{EveryDays: intGen.Draw(t, "every"), IntakeKcal: numberGen.Draw(t, "refeed")},
			},
			By: textGen.Draw(t, "by"), Note: textGen.Draw(t, "note"),
		}
	})
	snapshotGen = rapid.Custom(func(t *rapid.T) store.Snapshot {
		s := store.Snapshot{
			Head: store.Head{Incarnation: rapid.OneOf(rapid.StringMatching(`[0-9a-f]{32}`), textGen).Draw(t, "incarnation"), Revision: rapid.Int64().Draw(t, "revision")},
			Trainee: store.Trainee{
				ID: textGen.Draw(t, "id"), DisplayName: textGen.Draw(t, "name"), TimeZone: textGen.Draw(t, "zone"),
				Created: timeGen.Draw(t, "created"), Updated: timeGen.Draw(t, "updated"),
				Profile: engine.Profile{
					Sex: engine.Sex(rapid.Uint8().Draw(t, "sex")), HeightCm: optGen.Draw(t, "height"), Activity: engine.ActivityLevel(rapid.Uint8().Draw(t, "level")),
					MaintenanceGuessKcal: optGen.Draw(t, "guess"), Conditions: engine.Condition(rapid.Uint16().Draw(t, "conditions")),
				},
			},
			Window: engine.Window{First: engine.Day(dayGen.Draw(t, "first")), Days: rapid.SliceOfN(rowGen, 0, 40).Draw(t, "days")},
		}
		if rapid.Bool().Draw(t, "born") {
			s.Trainee.Profile.BirthDate = engine.SomeDay(engine.Day(dayGen.Draw(t, "birth")))
		}
		if rapid.Bool().Draw(t, "planned") {
			s.Plan = planGen.Draw(t, "plan")
		}
		for range rapid.IntRange(0, 6).Draw(t, "lifts") {
			s.Window.Lifts = append(s.Window.Lifts, engine.LiftDay{
				Day: engine.Day(dayGen.Draw(t, "day")), Lift: textGen.Draw(t, "lift"), BestE1RM: optGen.Draw(t, "e1rm"), Sets: intGen.Draw(t, "sets"), HardSets: intGen.Draw(t, "hard"),
			})
		}
		for range rapid.IntRange(0, 3).Draw(t, "readings") {
			s.Window.BodyFat = append(s.Window.BodyFat, engine.BodyFatReading{
				Day: engine.Day(dayGen.Draw(t, "day")), BodyFat: engine.BodyFat{Pct: numberGen.Draw(t, "pct"), Method: engine.BodyFatMethod(rapid.Uint8().Draw(t, "method"))},
			})
		}
		for range rapid.IntRange(0, 3).Draw(t, "tapes") {
			tape := engine.TapeReading{Day: engine.Day(dayGen.Draw(t, "day"))}
			for _, o := range girths(&tape.Tape) {
				*o = optGen.Draw(t, "girth")
			}
			s.Window.Tapes = append(s.Window.Tapes, tape)
		}
		return s
	})
)

// exactly compares numbers by their bits; no slice and an empty one are equal.
var exactly = cmp.Options{
	cmpopts.EquateEmpty(),
	cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }),
}

func fixSeed(t *testing.T) {
	t.Helper()
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() == "0" {
		if err := errors.Join(seed.Value.Set("20260301"), flag.Set("rapid.nofailfile", "true")); err != nil {
			t.Fatal(err)
		}
	}
}
