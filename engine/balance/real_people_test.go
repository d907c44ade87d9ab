package balance_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
	"example.com/steelyard/engine/trend"
)

// TestRealPeople forecasts real people's weight from their weights alone: no
// intake, no profile. The folder that STEELYARD_REAL_SERIES names holds CSV
// files with the columns date and weight_kg, one person each; it is never
// committed.
//
// Each person starts fresh every 60 days. From day 14 on, every third day, each
// method sees the readings since the start and says the weight 7, 14 and 28 days
// on. The truth is the mean of the readings within three days of that day,
// where there are three or more.
func TestRealPeople(t *testing.T) {
	folder := os.Getenv("STEELYARD_REAL_SERIES")
	if folder == "" {
		t.Skip("STEELYARD_REAL_SERIES is not set: no real people to forecast")
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no CSV file in %s (%v)", folder, err)
	}
	horizons := []int{7, 14, 28}
	scores := make([]score, len(horizons))
	for _, file := range files {
		y := readWeights(t, file)
		for i, h := range horizons {
			scores[i].series(y, h)
		}
	}
	var table strings.Builder
	fmt.Fprintf(&table, "\n%d people\ndays ahead  forecasts  RMSE kg: filter  flat mean   line  local trend   filter/flat  filter/line   level 80 %%  95 %%   reading 80 %%  95 %%\n", len(files))
	for i, h := range horizons {
		s := scores[i]
		fmt.Fprintf(&table, "%10d  %9d  %15.3f  %9.3f  %5.3f  %11.3f   %11.3f  %11.3f   %8.1f %%  %2.0f %%   %10.1f %%  %2.0f %%\n",
			h, s.n, s.rmse(s.filter), s.rmse(s.flat), s.rmse(s.line), s.rmse(s.localTrend), s.rmse(s.filter)/s.rmse(s.flat), s.rmse(s.filter)/s.rmse(s.line),
			s.share(s.level80), s.share(s.level95), s.share(s.reading80), s.share(s.reading95))
	}
	t.Log(table.String())
	at14 := scores[1]
	if at14.n < 50 {
		t.Fatalf("only %d forecasts of 14 days", at14.n)
	}
	if r := at14.rmse(at14.filter) / at14.rmse(at14.line); r > 0.85 {
		t.Errorf("14 days on the filter's error is %.3f of the line's, want at most 0.85", r)
	}
	if r := at14.rmse(at14.filter) / at14.rmse(at14.flat); r > 1.05 {
		t.Errorf("14 days on the filter's error is %.3f of the flat mean's, want at most 1.05", r)
	}
	if c := at14.share(at14.level80); c < 72 || c > 92 {
		t.Errorf("14 days on the 80 %% interval covers %.1f %%, want 72 to 92", c)
	}
}

const (
	realStartEvery = 60
	realFirstAsk   = 14
	realAskEvery   = 3
	realAround     = 3 // days about the target day
	realLeast      = 3 // readings among them
)

// score sums squared errors of one horizon, and counts intervals that held.
type score struct {
	n                                      int
	filter, flat, line, localTrend         float64
	level80, level95, reading80, reading95 int
}

func (s *score) rmse(sum float64) float64 { return math.Sqrt(sum / float64(s.n)) }
func (s *score) share(held int) float64   { return 100 * float64(held) / float64(s.n) }

// series asks along one person's days.
func (s *score) series(y []engine.Opt, horizon int) {
	for from := 0; from < len(y); from += realStartEvery {
		for day := from + realFirstAsk; day < min(from+realStartEvery, len(y)); day += realAskEvery {
			truth, ok := around(y, day+horizon)
			if !ok {
				continue
			}
			s.ask(y[from:day+1], horizon, truth)
		}
	}
}

func (s *score) ask(known []engine.Opt, horizon int, truth float64) {
	w, ok := forecast(known, horizon)
	if !ok {
		return
	}
	flat, _ := lastReadings(known, 7)
	line, ok := lineAhead(known, horizon)
	if !ok {
		return
	}
	s.n++
	s.filter += square(w.LevelKg - truth)
	s.flat += square(flat - truth)
	s.line += square(line - truth)
	s.localTrend += square(localTrendAhead(known, horizon) - truth)
	held := func(count *int, interval func(float64) (float64, float64), level float64) {
		if low, high := interval(level); low <= truth && truth <= high {
			*count++
		}
	}
	held(&s.level80, w.LevelInterval, 0.80)
	held(&s.level95, w.LevelInterval, 0.95)
	held(&s.reading80, w.ReadingInterval, 0.80)
	held(&s.reading95, w.ReadingInterval, 0.95)
}

func square(v float64) float64 { return v * v }

// around is the mean of the readings about a day.
func around(y []engine.Opt, day int) (kg float64, ok bool) {
	n := 0
	for i := max(day-realAround, 0); i <= min(day+realAround, len(y)-1); i++ {
		if y[i].OK {
			kg += y[i].V
			n++
		}
	}
	return kg / float64(n), n >= realLeast
}

// forecast is the filter's, with the guess for a trainee of whom nothing is
// known but the weight.
func forecast(known []engine.Opt, horizon int) (balance.ForecastWeight, bool) {
	in := make([]balance.Input, len(known))
	for i, o := range known {
		in[i].WeightKg = o
	}
	kg, _, ok := balance.StartWeight(in)
	if !ok {
		return balance.ForecastWeight{}, false
	}
	g, _ := physiology.MaintenanceGuess(engine.Profile{}, kg, 0)
	track := balance.Run(0, in, balance.Guess{Kcal: g.Kcal, SDKcal: g.SDKcal})
	ahead, ok := track.Forecast(engine.Target{IntakeKcal: track.UsualKcal()}, horizon)
	if !ok {
		return balance.ForecastWeight{}, false
	}
	return ahead[horizon-1], true
}

// lastReadings is the mean of the last n readings.
func lastReadings(known []engine.Opt, n int) (kg float64, ok bool) {
	used := 0
	for i := len(known) - 1; i >= 0 && used < n; i-- {
		if known[i].OK {
			kg += known[i].V
			used++
		}
	}
	return kg / float64(used), used > 0
}

// lineAhead follows the least-squares line through the last 28 readings.
func lineAhead(known []engine.Opt, horizon int) (float64, bool) {
	w := engine.Window{Days: make([]engine.WindowDay, len(known))}
	for i, o := range known {
		w.Days[i].WeightKg = o
	}
	x, kg := trend.LastReadings(w, w.End()-1, 28)
	l, ok := trend.Fit(x, kg)
	return l.PredictAt(float64(horizon)).Y, ok
}

// localTrendAhead follows the local linear trend whose variances are the likeliest
// of a grid for what is known.
func localTrendAhead(known []engine.Opt, horizon int) float64 {
	best := math.Inf(-1)
	var kg float64
	for _, reading := range []float64{0.2, 0.35, 0.5, 0.7, 1} {
		for _, level := range []float64{0, 0.05, 0.1, 0.2, 0.4} {
			for _, slope := range []float64{0, 0.003, 0.01, 0.03} {
				m := trend.LocalLinearTrend{ReadingVar: square(reading), LevelStepVar: square(level), SlopeStepVar: square(slope)}
				run, ok := m.Run(known)
				if ok && run.LogLikelihood > best {
					best = run.LogLikelihood
					kg = m.Forecast(run.Filtered[len(run.Filtered)-1], horizon).Level
				}
			}
		}
	}
	return kg
}

// readWeights reads one person's days, unknown where there is no reading.
func readWeights(t *testing.T, file string) []engine.Opt {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 || len(rows[0]) < 2 || rows[0][0] != "date" || rows[0][1] != "weight_kg" {
		t.Fatalf("%s: want the columns date,weight_kg and a row (%v)", filepath.Base(file), err)
	}
	var y []engine.Opt
	var first engine.Day
	for i, row := range rows[1:] {
		if row[1] == "" {
			continue
		}
		d, err := engine.ParseDay(row[0])
		if err != nil {
			t.Fatalf("%s: line %d: %v", filepath.Base(file), i+2, err)
		}
		kg, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatalf("%s: line %d: weight_kg is no number", filepath.Base(file), i+2)
		}
		if len(y) == 0 {
			first = d
		}
		at := int(d - first)
		if at < 0 || at > 20000 {
			t.Fatalf("%s: line %d: days out of order", filepath.Base(file), i+2)
		}
		for len(y) <= at {
			y = append(y, engine.Opt{})
		}
		if !y[at].OK { // the day's first reading counts
			y[at] = engine.Some(kg)
		}
	}
	return y
}
