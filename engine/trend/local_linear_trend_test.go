package trend

import (
	"fmt"
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func trendOf(row published.Row, kind string) Trend {
	return Trend{
		Level: row.Num(kind + "_level"), Slope: row.Num(kind + "_slope"),
		LevelVar: row.Num(kind + "_var_level"), SlopeVar: row.Num(kind + "_var_slope"), Cov: row.Num(kind + "_cov"), OK: true,
	}
}

func sameTrend(a, b Trend, tol float64) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= tol*max(1, math.Abs(y)) }
	return a.OK == b.OK && near(a.Level, b.Level) && near(a.Slope, b.Slope) && near(a.LevelVar, b.LevelVar) && near(a.SlopeVar, b.SlopeVar) && near(a.Cov, b.Cov)
}

var (
	llt      = LocalLinearTrend{ReadingVar: 0.36, LevelStepVar: 0.01, SlopeStepVar: 0.0004}
	lltStart = Trend{Level: 90, LevelVar: 4, SlopeVar: 0.01, OK: true}
)

// lltRuns returns the two runs of local-linear-trend.csv and their rows.
func lltRuns(t *testing.T) (map[string]TrendRun, map[string][]published.Row) {
	rows := map[string][]published.Row{}
	y := map[string][]engine.Opt{}
	for _, row := range published.Read(t, "local-linear-trend.csv") {
		start := row.Text("start")
		rows[start] = append(rows[start], row)
		y[start] = append(y[start], number(row, "y_kg"))
	}
	proper, ok1 := llt.RunFrom(lltStart, y["proper"])
	diffuse, ok2 := llt.Run(y["diffuse"])
	if !ok1 || !ok2 || len(rows["proper"]) != 28 || len(rows["diffuse"]) != 28 {
		t.Fatalf("%v %v %d %d", ok1, ok2, len(rows["proper"]), len(rows["diffuse"]))
	}
	return map[string]TrendRun{"proper": proper, "diffuse": diffuse}, rows
}

func TestLocalLinearTrendAgainstReference(t *testing.T) {
	runs, rows := lltRuns(t)
	for start, r := range runs {
		for i, row := range rows[start] {
			filtered := trendOf(row, "filt")
			if start == "diffuse" && i == 0 {
				filtered = Trend{} // not known from one reading
			}
			if !sameTrend(r.Filtered[i], filtered, 1e-9) {
				t.Errorf("%s day %d filtered %+v, want %+v", start, i+1, r.Filtered[i], filtered)
			}
			if want := trendOf(row, "smooth"); !sameTrend(r.Smoothed[i], want, 1e-9) {
				t.Errorf("%s day %d smoothed %+v, want %+v", start, i+1, r.Smoothed[i], want)
			}
		}
	}
	if p, d := runs["proper"].LogLikelihood, runs["diffuse"].LogLikelihood; math.Abs(p+16.3715637456) > 1e-9 || math.Abs(d+17.5564436568) > 1e-9 {
		t.Errorf("log-likelihoods %v, %v", p, d) // the values stand in the file's header
	}
}

func TestLocalLinearTrendForecast(t *testing.T) {
	runs, _ := lltRuns(t)
	rows := published.Read(t, "local-linear-trend-forecast.csv")
	if len(rows) != 8 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		last := runs[row.Text("init")].Filtered[27]
		want := Trend{
			Level: row.Num("level_mean"), LevelVar: row.Num("level_var"), Slope: row.Num("slope_mean"), SlopeVar: row.Num("slope_var"),
			Cov: row.Num("level_slope_cov"), OK: true,
		}
		f := llt.Forecast(last, row.Int("h_days"))
		if !sameTrend(f, want, 1e-9) {
			t.Errorf("%s %s days: %+v, want %+v", row.Text("init"), row.Text("h_days"), f, want)
		}
		if got, want := f.LevelVar+llt.ReadingVar, row.Num("obs_var"); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s %s days: variance of a reading %v, want %v", row.Text("init"), row.Text("h_days"), got, want)
		}
	}
}

func ExampleLocalLinearTrend() {
	kg := []engine.Opt{engine.Some(82.4), engine.Some(82.6), {}, engine.Some(82.1), {}, engine.Some(81.7), engine.Some(81.8)}
	model := LocalLinearTrend{ReadingVar: 0.25, LevelStepVar: 0.004, SlopeStepVar: 0.0001}
	run, _ := model.Run(kg)
	today := run.Filtered[6]
	in7 := model.Forecast(today, 7)
	fmt.Printf("%.1f kg today (SD %.1f), in a week %.1f (a reading: SD %.1f)\n",
		today.Level, math.Sqrt(today.LevelVar), in7.Level, math.Sqrt(in7.LevelVar+model.ReadingVar))
	// Output: 81.7 kg today (SD 0.4), in a week 80.7 (a reading: SD 1.2)
}
