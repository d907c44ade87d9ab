package replay

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// invented is a trainee made up for these tests, with the log that they kept:
// gaps, days not logged, refeeds, marks, typing errors, targets that change.
type invented struct {
	id      string
	profile Profile
	window  engine.Window
	plan    engine.Plan // its decisions are the targets
}

const firstDay = engine.Day(20000) // 2024-10-04

func invent(seed uint64, days int) invented {
	r := rand.New(rand.NewPCG(seed, 61))
	x := invented{
		id:      fmt.Sprintf("trainee-%03d", seed),
		profile: Profile{Sex: engine.Sex(1 + r.IntN(2)), AgeYears: engine.Some(float64(20 + r.IntN(40))), HeightCm: engine.Some(float64(155 + r.IntN(40)))},
		window:  engine.Window{First: firstDay + engine.Day(r.IntN(10))},
	}
	weight := 60 + 50*r.Float64()
	maintenance := 30 * weight
	if seed%3 > 0 {
		x.profile.MaintenanceGuessKcal = engine.Some(math.Round(maintenance * (1 + 0.1*r.NormFloat64())))
	}
	x.plan = engine.DefaultPlan(x.window.First)
	target := engine.Target{IntakeKcal: math.Round(maintenance)}
	missing, unlogged := 0.4*r.Float64(), 0.3*r.Float64()
	for i := range days {
		day := x.window.First + engine.Day(i)
		if i == 5+r.IntN(3) || i > 10 && r.IntN(25) == 0 {
			target = engine.Target{IntakeKcal: math.Round(maintenance * (0.75 + 0.2*r.Float64())), ActivityKcal: float64(50 * r.IntN(4))}
			x.plan.Decisions = append(x.plan.Decisions, engine.Decision{From: day, Target: target})
		}
		var d engine.WindowDay
		eaten := target.IntakeKcal * (1 + 0.15*r.NormFloat64())
		weight += (eaten - maintenance - 0.7*target.ActivityKcal) / 7600
		// The first and the last day have a reading, so that they have a row.
		if i == 0 || i == days-1 || r.Float64() > missing && !(seed%5 == 0 && i < 15) {
			kg := weight + 0.6*r.NormFloat64()
			if r.IntN(100) == 0 {
				kg *= 10
			}
			d.WeightKg = engine.Some(math.Round(10*kg) / 10)
		}
		if r.Float64() > unlogged {
			d.IntakeKcal = engine.Some(math.Round(max(eaten, 0)))
		}
		if i > 20 && r.IntN(14) == 0 {
			d.Marks, d.RefeedKcal = d.Marks.With(engine.MarkRefeed), engine.Some(math.Round(maintenance))
		}
		if r.IntN(20) == 0 {
			d.Marks = d.Marks.With(engine.MarkSaltyMeal)
		}
		if r.IntN(40) == 0 {
			d.Marks = d.Marks.With(engine.MarkTravel)
		}
		if x.profile.Sex == engine.Female && i%28 == 17 {
			d.Marks = d.Marks.With(engine.MarkPeriodStart)
		}
		x.window.Days = append(x.window.Days, d)
	}
	return x
}

// asOf is the estimator's profile in the engine's own terms.
func (x invented) asOf() engine.Profile {
	y, m, d := x.window.First.Date()
	birth, ok := engine.DayOf(y-int(x.profile.AgeYears.V), m, d)
	return engine.Profile{Sex: x.profile.Sex, HeightCm: x.profile.HeightCm, BirthDate: engine.OptDay{Day: birth, OK: ok}}
}

func cell(o engine.Opt) string {
	if !o.OK {
		return ""
	}
	return fmt.Sprint(o.V)
}

func (x invented) profileRow() string {
	return fmt.Sprintf("%s,%s,%s,%s,%s\n", x.id, []string{"", "female", "male"}[x.profile.Sex],
		cell(x.profile.AgeYears), cell(x.profile.HeightCm), cell(x.profile.MaintenanceGuessKcal))
}

const logHeader = "trainee,date,weight_kg,intake_kcal,steps,target_kcal,activity_target_kcal,refeed_kcal,marks\n"

// logRows are the rows of the days with anything in them. A target stands on the
// day that it changes only.
func (x invented) logRows() []string {
	var out []string
	for i, d := range x.window.Days {
		day := x.window.First + engine.Day(i)
		target := ","
		for _, dec := range x.plan.Decisions {
			if dec.From == day {
				target = fmt.Sprintf("%v,%v", dec.Target.IntakeKcal, dec.Target.ActivityKcal)
			}
		}
		var marks []string
		for _, m := range []struct {
			of   engine.MarkKind
			word string
		}{{engine.MarkTravel, "travel"}, {engine.MarkSaltyMeal, "salty_meal"}, {engine.MarkPeriodStart, "period_start"}} {
			if d.Marks.Has(m.of) {
				marks = append(marks, m.word)
			}
		}
		if d.IsEmpty() && target == "," {
			continue
		}
		out = append(out, fmt.Sprintf("%s,%s,%s,%s,%d,%s,%s,%s\n", x.id, day, cell(d.WeightKg), cell(d.IntakeKcal), 5000+i, target, cell(d.RefeedKcal), strings.Join(marks, ";")))
	}
	return out
}

// tables are the files of a cohort.
func tables(cohort []invented) (profiles string, logs []string) {
	profiles = "trainee,sex,age,height_cm,maintenance_guess_kcal\n"
	for _, x := range cohort {
		profiles += x.profileRow()
		logs = append(logs, x.logRows()...)
	}
	return profiles, logs
}

func inventMany(n, days int) []invented {
	out := make([]invented, n)
	for i := range out {
		out[i] = invent(uint64(i), days)
	}
	return out
}

// replayed reads two tables and returns the lines after the header.
func replayed(t *testing.T, profiles, logs string, every int) []string {
	t.Helper()
	trainees, err := ReadProfiles(strings.NewReader(profiles))
	if err != nil {
		t.Fatal(err)
	}
	if err := ReadLogs(strings.NewReader(logs), trainees); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	rows, err := Write(t.Context(), &out, trainees, every, nil)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, _ := strings.Cut(out.String(), "\n")
	if head+"\n" != header {
		t.Fatalf("header %q", head)
	}
	lines := strings.Split(strings.TrimSuffix(rest, "\n"), "\n")
	if rest == "" {
		lines = nil
	}
	if rows != len(lines) {
		t.Fatalf("told %d rows, wrote %d", rows, len(lines))
	}
	return lines
}
