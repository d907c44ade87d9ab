package strength

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/trend"
)

const today engine.Day = 20_000

// sessions are rows of one lift so many days before today, with the best
// estimates and three hard sets each.
func sessions(lift string, daysAgo []int, e1RM ...float64) []engine.LiftDay {
	var out []engine.LiftDay
	for i, ago := range daysAgo {
		l := engine.LiftDay{Day: today - engine.Day(ago), Lift: lift, Sets: 4, HardSets: 3}
		if e1RM[i] != 0 {
			l.BestE1RM = engine.Some(e1RM[i])
		}
		out = append(out, l)
	}
	return out
}

// falling is a lift that loses so many % a week from 100 kg on, exactly.
func falling(daysAgo []int, pctPerWeek float64) []engine.LiftDay {
	var kg []float64
	for _, ago := range daysAgo {
		kg = append(kg, 100*math.Pow(1+pctPerWeek/100, float64(daysAgo[0]-ago)/7))
	}
	return sessions("squat", daysAgo, kg...)
}

func is(t *testing.T, what string, got engine.Opt, want, tol float64) {
	t.Helper()
	if !got.OK || !(math.Abs(got.V-want) <= tol) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func TestTrendOf(t *testing.T) {
	ago := []int{42, 35, 28, 21, 14, 7, 0}
	for _, pct := range []float64{-2, -0.3, 0, 0.8, 4} {
		got := TrendOf(falling(ago, pct))
		is(t, "trend", got.PctPerWeek, pct, 1e-9)
		// No scatter: the interval is the grain, half a repetition over six weeks.
		const least = 1 / 60.0 / 6
		is(t, "low", got.LowPctPerWeek, 100*math.Expm1(math.Log1p(pct/100)-least), 1e-9)
		is(t, "high", got.HighPctPerWeek, 100*math.Expm1(math.Log1p(pct/100)+least), 1e-9)
		if got.Sessions != 7 || got.Why != ReasonNone {
			t.Errorf("%+v", got)
		}
	}
	// By hand, ln e1RM = 1 1.1 1 1 0.8 over days 0 7 14 21 28: slopes in order
	// -0.2/7 -0.1/7 -0.2/14 -0.3/21 -0.2/28 -0.1/14 0 0 0 0.1/7. With three equal
	// values sd^2 = (5 4 15 - 3 2 11)/18 = 13, the ranks (10 -+ 1.2816 3.606)/2 =
	// 2.69 and 7.31 + 1.
	e := math.E
	row := sessions("squat", []int{28, 21, 14, 7, 0}, e, e*math.Exp(0.1), e, e, e*math.Exp(-0.2))
	got := TrendOf(row)
	is(t, "trend", got.PctPerWeek, 100*math.Expm1(7*(-0.1/14)), 1e-9)
	is(t, "low", got.LowPctPerWeek, 100*math.Expm1(7*(-0.1/7)), 1e-9)
	is(t, "high", got.HighPctPerWeek, 0, 1e-9)
}

// With much scatter the interval is that of the line at 0.80. Of the 66 slopes
// of twelve sessions a level of 0.81 would take another.
func TestTrendOfIntervalIsTheLines(t *testing.T) {
	ago := []int{55, 50, 46, 40, 36, 31, 25, 19, 14, 10, 5, 0}
	kg := []float64{100, 112, 94, 103, 120, 91, 99, 108, 87, 96, 110, 90}
	var days, logs []float64
	for i := range ago {
		days, logs = append(days, -float64(ago[i])), append(logs, math.Log(kg[i]))
	}
	line, _ := trend.TheilSen(days, logs)
	low, high, ok := line.SlopeInterval(0.80)
	got := TrendOf(sessions("squat", ago, kg...))
	if !ok {
		t.Fatal("no interval")
	}
	is(t, "trend", got.PctPerWeek, 100*math.Expm1(7*line.Slope), 1e-9)
	is(t, "low", got.LowPctPerWeek, 100*math.Expm1(7*low), 1e-9)
	is(t, "high", got.HighPctPerWeek, 100*math.Expm1(7*high), 1e-9)
}

// A missed decimal point in one session of seven does not make a trend.
func TestTrendOfTypingError(t *testing.T) {
	rows := falling([]int{42, 35, 28, 21, 14, 7, 0}, -0.5)
	for i := range rows {
		wrong := append([]engine.LiftDay{}, rows...)
		wrong[i].BestE1RM.V *= 10
		got := TrendOf(wrong)
		if !got.PctPerWeek.OK || math.Abs(got.PctPerWeek.V+0.5) > 0.01 {
			t.Errorf("error in session %d: %+v", i, got)
		}
	}
}

func TestTrendOfIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	const trials, truth = 3000, -0.6
	for _, n := range []int{5, 8, 16} {
		hits := 0
		for range trials {
			var ago []int
			for i := range n {
				ago = append(ago, 55*(n-1-i)/(n-1))
			}
			rows := falling(ago, truth)
			for i := range rows {
				rows[i].BestE1RM.V *= math.Exp(0.03 * rng.NormFloat64()) // invented scatter, 3 %
			}
			got := TrendOf(rows)
			if got.LowPctPerWeek.V <= truth && truth <= got.HighPctPerWeek.V {
				hits++
			}
		}
		if share := float64(hits) / trials; share < 0.78 || share > 0.97 {
			t.Errorf("%d sessions: the 80 %% interval covers %v", n, share)
		}
	}
}

func TestTrendOfUnknown(t *testing.T) {
	ago := []int{28, 21, 14, 7, 0}
	flat := []float64{100, 100, 100, 100, 100}
	for name, c := range map[string]struct {
		rows     []engine.LiftDay
		sessions int
		why      Reason
	}{
		"nothing":           {nil, 0, NoEstimate},
		"no estimate":       {sessions("a", ago, 0, 0, 0, 0, 0), 0, NoEstimate},
		"four":              {sessions("a", ago, 100, 100, 0, 100, 100), 4, TooFewSessions},
		"five in 13 days":   {sessions("a", []int{13, 10, 6, 3, 0}, flat...), 5, TooShort},
		"five in 14 days":   {sessions("a", []int{14, 10, 6, 3, 0}, flat...), 5, ReasonNone},
		"not a number":      {sessions("a", ago, 100, math.NaN(), 100, 100, 100), 4, TooFewSessions},
		"infinite":          {sessions("a", ago, 100, math.Inf(1), 100, 100, 100), 4, TooFewSessions},
		"too heavy":         {sessions("a", ago, 100, 1001, 100, 100, 100), 4, TooFewSessions},
		"as heavy as can":   {sessions("a", ago, 100, 1000, 100, 100, 100), 5, ReasonNone},
		"too light":         {sessions("a", ago, 100, 0.09, 100, 100, 100), 4, TooFewSessions},
		"as light as can":   {sessions("a", ago, 100, 0.1, 100, 100, 100), 5, ReasonNone},
		"two days only":     {sessions("a", []int{28, 28, 28, 28, 0}, 100, 101, 102, 103, 104), 5, TooFewSessions},
		"not in time order": {sessions("a", []int{0, 28, 14, 7, 21}, flat...), 5, ReasonNone},
	} {
		got := TrendOf(c.rows)
		if got.Sessions != c.sessions || got.Why != c.why || got.PctPerWeek.OK != (c.why == ReasonNone) ||
			got.LowPctPerWeek.OK != got.PctPerWeek.OK || got.HighPctPerWeek.OK != got.PctPerWeek.OK {
			t.Errorf("%s: %+v, want %d sessions, %v", name, got, c.sessions, c.why)
		}
	}
}
