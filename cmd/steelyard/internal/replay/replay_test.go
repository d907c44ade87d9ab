package replay

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/phase"
)

// 200 trainees of 120 days make 24,000 rows: in the order of the profiles, a day
// after the other.
func TestOneRowATraineeAndDay(t *testing.T) {
	cohort := inventMany(200, 120)
	profiles, logs := tables(cohort)
	lines := replayed(t, profiles, logHeader+strings.Join(logs, ""), 1)
	if len(lines) != 24000 {
		t.Fatalf("%d rows", len(lines))
	}
	estimates := 0
	for i, x := range cohort {
		for j := range 120 {
			cells := strings.Split(lines[120*i+j], ",")
			if len(cells) != 11 || cells[0] != x.id || cells[1] != (x.window.First+engine.Day(j)).String() {
				t.Fatalf("row %d: %v", 120*i+j, cells)
			}
			if cells[2] != "" {
				estimates++
			}
		}
	}
	if estimates < 22000 || estimates > 23900 {
		t.Errorf("%d estimates", estimates)
	}
}

// Each row is what a fresh run over the days until then says: the engine's own
// filter, and the energy balance that a server would answer with.
func TestRowsAreFreshRuns(t *testing.T) {
	const days = 90
	cohort := inventMany(60, days)
	profiles, logs := tables(cohort)
	lines := replayed(t, profiles, logHeader+strings.Join(logs, ""), 1)
	r := rand.New(rand.NewPCG(1, 2))
	empty, told, byServer := 0, 0, 0
	for i, x := range cohort {
		for range 25 {
			j := r.IntN(days)
			cells := strings.Split(lines[days*i+j], ",")
			asOf := x.window.First + engine.Day(j)
			w := x.window.Between(x.window.First, asOf+1)
			track := freshTrack(x, w, asOf)
			target, ok := x.plan.TargetOn(asOf)
			if !ok {
				target.IntakeKcal = track.UsualKcal()
			}
			e, ok := track.Estimate(target, balance.Band{LowPctPerWeek: 0.5, HighPctPerWeek: 1})
			if !ok {
				if strings.Join(cells[2:], "") != "" {
					t.Fatalf("%s %s: an estimate: %v", x.id, asOf, cells)
				}
				empty++
				continue
			}
			told++
			compare(t, cells, e)
			if !x.profile.MaintenanceGuessKcal.OK {
				b := phase.EnergyBalance(w, x.asOf(), &x.plan, asOf)
				if b.Estimate == nil {
					t.Fatalf("%s %s: no estimate of the phase", x.id, asOf)
				}
				compare(t, cells, *b.Estimate)
				byServer++
			}
		}
	}
	t.Logf("%d rows compared, %d of them with the energy balance of a plan, %d without an estimate", told, byServer, empty)
	if told < 1200 || byServer < 300 || empty < 30 {
		t.Error("too few")
	}
}

// freshTrack runs the filter with nothing of this package.
func freshTrack(x invented, w engine.Window, asOf engine.Day) balance.Track {
	if g := x.profile.MaintenanceGuessKcal; g.OK {
		return balance.Run(w.First, balance.Inputs(w, &x.plan, asOf), balance.Guess{Kcal: g.V})
	}
	track, _, _ := phase.Smooth(w, x.asOf(), &x.plan, asOf)
	return track
}

func compare(t *testing.T, cells []string, e balance.Estimate) {
	t.Helper()
	if cells[1] != e.AsOf.String() || cells[9] != strconv.Itoa(e.ReadingsUsed) || cells[10] != strconv.Itoa(len(e.Refused)) {
		t.Fatalf("%v\n%+v", cells, e)
	}
	for i, want := range []float64{e.TrendWeightKg, e.RatePctPerWeek, e.RateSDPctPerWeek, e.MaintenanceKcal, e.MaintenanceSDKcal, e.PBelowBand, e.PAboveBand} {
		got, err := strconv.ParseFloat(cells[2+i], 64)
		if err != nil || !(math.Abs(got-want) <= 1e-9*max(1, math.Abs(want))) {
			t.Fatalf("%s: column %d: %v, want %v (%v)", cells[0], 2+i, got, want, err)
		}
	}
}

// The order of rows and of columns does not matter, nor the processors, nor line
// ends.
func TestSameBytesWhateverTheOrder(t *testing.T) {
	cohort := inventMany(30, 60)
	profiles, logs := tables(cohort)
	want := replayed(t, profiles, logHeader+strings.Join(logs, ""), 1)
	r := rand.New(rand.NewPCG(3, 4))
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, procs := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(procs)
		r.Shuffle(len(logs), func(i, j int) { logs[i], logs[j] = logs[j], logs[i] })
		text := "\ufeff" + strings.ReplaceAll(logHeader+strings.Join(logs, ""), "\n", "\r\n")
		if got := replayed(t, profiles, text, 1); !slices.Equal(got, want) {
			t.Errorf("other rows on %d processors", procs)
		}
	}
	var swapped strings.Builder
	for _, line := range append([]string{logHeader}, logs...) {
		cells := strings.Split(strings.TrimSuffix(line, "\n"), ",")
		slices.Reverse(cells)
		swapped.WriteString(strings.Join(cells, " , ") + "\n")
	}
	if got := replayed(t, profiles, swapped.String(), 1); !slices.Equal(got, want) {
		t.Error("the order of the columns matters")
	}
}

func TestEvery(t *testing.T) {
	profiles, logs := tables(inventMany(5, 60))
	all := replayed(t, profiles, logHeader+strings.Join(logs, ""), 1)
	for _, every := range []int{2, 7, 59, 60, 1000} {
		var want []string
		for i, line := range all {
			if i%60%every == 0 {
				want = append(want, line)
			}
		}
		if got := replayed(t, profiles, logHeader+strings.Join(logs, ""), every); !slices.Equal(got, want) {
			t.Errorf("every %d: %d rows, want %d", every, len(got), len(want))
		}
	}
	if _, err := Write(t.Context(), &bytes.Buffer{}, nil, 0, nil); err == nil {
		t.Error("every 0 days is taken")
	}
}

// Each cell does what it says. The log is of few days, so that each shows.
func TestCells(t *testing.T) {
	const profiles = "trainee,sex,age,height_cm,maintenance_guess_kcal\na,male,40,180,2500\n"
	last := func(rows ...string) string {
		log := logHeader
		for _, r := range rows {
			log += "a," + r + "\n"
		}
		lines := replayed(t, profiles, log, 1)
		return lines[len(lines)-1]
	}
	base := last("2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,")
	for what, row := range map[string][]string{
		"the intake of the last day": {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,9000,,,,,"},
		"steps":                      {"2025-01-01,80,2500,9000,2500,,,", "2025-01-02,80.4,2400,9000,,,,", "2025-01-03,80.2,2500,1,,,,", "2025-01-04,80.1,2300,,,,,"},
		"illness and travel":         {"2025-01-01,80,2500,,2500,,,illness", "2025-01-02,80.4,2400,,,,,illness;travel", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"the same target again":      {"2025-01-01,80,2500,,2500,0,,", "2025-01-02,80.4,2400,,2500,,,", "2025-01-03,80.2,2500,,,0,,", "2025-01-04,80.1,2300,,,,,"},
		"spaces and more digits":     {"2025-01-01, 80.000 , 2500,, 2500.0 ,,,", "2025-01-02,80.4,2400,,,,, ", "2025-01-03,80.2,2.5e3,,,,,", "2025-01-04,80.1,2300,,,,,"},
	} {
		if got := last(row...); got != base {
			t.Errorf("%s changes the row:\n%s\n%s", what, got, base)
		}
	}
	for what, row := range map[string][]string{
		"intake":               {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,2600,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"no intake":            {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a reading":            {"2025-01-01,80,2500,,2500,,,", "2025-01-02,,2400,,,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a target":             {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,2100,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a target of that day": {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,2100,,,"},
		"activity":             {"2025-01-01,80,2500,,2500,150,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a refeed":             {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,2900,", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a salty meal":         {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,salty_meal", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
		"a period":             {"2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,travel; period_start", "2025-01-03,80.2,2500,,,,,", "2025-01-04,80.1,2300,,,,,"},
	} {
		if got := last(row...); got == base {
			t.Errorf("%s changes nothing", what)
		}
	}
	// A day without a row is a day without a log, and targets hold over it.
	gap := replayed(t, profiles, logHeader+"a,2025-01-01,80,2500,,2500,,,\na,2025-01-02,80.4,2400,,,,,\na,2025-01-04,80.1,2300,,,,,\n", 1)
	if len(gap) != 4 || gap[2] != "a,2025-01-03,,,,,,,,," {
		t.Errorf("a gap: %q", gap)
	}
	filled := last("2025-01-01,80,2500,,2500,,,", "2025-01-02,80.4,2400,,,,,", "2025-01-03,,,,2500,,,", "2025-01-04,80.1,2300,,,,,")
	if gap[3] != filled {
		t.Errorf("a gap:\n%s\n%s", gap[3], filled)
	}
}

// A name may hold what CSV quotes.
func TestNamesAreQuoted(t *testing.T) {
	lines := replayed(t, "trainee\n\"Smith, \"\"J\"\"\"\nnobody\n", "trainee,date,weight_kg\n\"Smith, \"\"J\"\"\",2025-01-01,80\n", 1)
	if !slices.Equal(lines, []string{`"Smith, ""J""",2025-01-01,,,,,,,,,`}) {
		t.Errorf("%q", lines)
	}
}

// Of a trainee of whom only weights are known there is an estimate too.
func TestWeightsAlone(t *testing.T) {
	lines := replayed(t, "trainee,age\na,\n", "trainee,date,weight_kg\na,2025-01-01,80\na,2025-01-02,80.2\na,2025-01-03,80.1\n", 1)
	if len(lines) != 3 || strings.HasSuffix(lines[2], ",") || !strings.HasSuffix(lines[1], ",,") {
		t.Errorf("%q", lines)
	}
}

// Ended early or unable to write, it says so and leaves no worker behind.
func TestEndsEarly(t *testing.T) {
	profiles, logs := tables(inventMany(50, 60))
	trainees, err := ReadProfiles(strings.NewReader(profiles))
	if err != nil {
		t.Fatal(err)
	}
	if err := ReadLogs(strings.NewReader(logHeader+strings.Join(logs, "")), trainees); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var last int
	rows, err := Write(ctx, &bytes.Buffer{}, trainees, 1, func(done int) {
		last = done
		if done == 3 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || last != 3 || rows != 180 {
		t.Errorf("%v after %d trainees, %d rows", err, last, rows)
	}
	full := errors.New("no space left")
	if _, err := Write(t.Context(), &failing{left: 5000, err: full}, trainees, 1, nil); !errors.Is(err, full) {
		t.Errorf("a full disk: %v", err)
	}
	var told []int
	if _, err := Write(t.Context(), &bytes.Buffer{}, trainees, 1, func(done int) { told = append(told, done) }); err != nil || len(told) != 50 || !slices.IsSorted(told) {
		t.Errorf("told %v, %v", told, err)
	}
}

type failing struct {
	left int
	err  error
}

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, f.err
	}
	return len(p), nil
}

// The age of the profile is that of the log's first day: who starts to weigh
// after a birthday is a year older by then.
func TestAgeGrowsWithTheLog(t *testing.T) {
	const readings = "a,2025-03-01,80\na,2025-03-02,80.2\na,2025-03-03,80.1\n"
	estimate := func(age, rows string) string {
		lines := replayed(t, "trainee,sex,age,height_cm\na,male,"+age+",180\n", "trainee,date,weight_kg\n"+rows+readings, 1)
		return lines[len(lines)-1]
	}
	want := estimate("41", "a,2025-01-15,\n")
	if got := estimate("40", "a,2024-01-15,\n"); got != want {
		t.Errorf("40 a year ago:\n%s\n%s", got, want)
	}
	if got := estimate("40", "a,2025-01-15,\n"); got == want {
		t.Error("the age does not matter")
	}
}

func TestGuess(t *testing.T) {
	first, _ := engine.DayOf(2024, 2, 29)
	if got := yearsBefore(first, 3).String(); got != "2021-02-28" {
		t.Errorf("three years before %s: %s", first, got)
	}
	if got := yearsBefore(first, 4).String(); got != "2020-02-29" {
		t.Errorf("four years before %s: %s", first, got)
	}
	known := Profile{Sex: engine.Female, AgeYears: engine.Some(34.9), HeightCm: engine.Some(168)}
	g, ok := known.guess(70, first, first+5)
	older, _ := Profile{Sex: engine.Female, AgeYears: engine.Some(35), HeightCm: engine.Some(168)}.guess(70, first, first+5)
	if !ok || g.IsTracked || g.Kcal < 1800 || g.Kcal > 2400 || !(older.Kcal < g.Kcal) {
		t.Errorf("%+v, a year older %+v", g, older)
	}
	own := known
	own.MaintenanceGuessKcal = engine.Some(2000)
	if g, ok := own.guess(70, first, first); !ok || g.TrackedKcal() != 0.94*2000 {
		t.Errorf("%+v", g)
	}
}
