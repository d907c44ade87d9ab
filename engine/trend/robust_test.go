package trend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/steelyard/testdata/published"
)

// seriesOf returns a series of robust-series.csv, or norris.
func seriesOf(t *testing.T, name string) (x, y []float64) {
	if name == "norris" {
		return norris(t)
	}
	for _, row := range published.Read(t, "robust-series.csv") {
		if row.Text("series") == name {
			x, y = append(x, row.Num("x")), append(y, row.Num("y"))
		}
	}
	return x, y
}

func phones(t *testing.T) (x, y []float64) {
	for _, row := range published.Read(t, "phones.csv") {
		x, y = append(x, row.Num("year")), append(y, row.Num("calls"))
	}
	return x, y
}

// quantities of each method, by the names in robust-lines.csv.
func robustLines(t *testing.T, x, y []float64) map[string]float64 {
	t.Helper()
	ts, okTS := TheilSen(x, y)
	low, high, okI := ts.SlopeInterval(0.95)
	rm, okRM := RepeatedMedian(x, y)
	h, okH := Huber(x, y)
	if !okTS || !okI || !okRM || !okH || ts.N != len(x) || rm.N != len(x) || h.N != len(x) || !h.SlopeSE.OK || !h.InterceptSE.OK {
		t.Fatalf("%+v %v %+v %v %+v %v", ts, okTS, rm, okRM, h, okH)
	}
	return map[string]float64{
		"theil-sen slope": ts.Slope, "theil-sen intercept": ts.Intercept, "theil-sen low_95": low, "theil-sen high_95": high,
		"siegel slope": rm.Slope, "siegel intercept": rm.Intercept,
		"huber slope": h.Slope, "huber intercept": h.Intercept, "huber scale": h.Scale, "huber slope_se": h.SlopeSE.V, "huber intercept_se": h.InterceptSE.V,
	}
}

func TestRobustLinesAgainstReference(t *testing.T) {
	compared := 0
	for _, series := range []string{"clean", "outlier", "norris"} {
		x, y := seriesOf(t, series)
		got := robustLines(t, x, y)
		for _, row := range published.Read(t, "robust-lines.csv") {
			if row.Text("series") != series {
				continue
			}
			name, want := row.Text("method")+" "+row.Text("quantity"), row.Num("value")
			if g, ok := got[name]; !ok || !closeRel(g, want, 1e-9) {
				t.Errorf("%s: %s = %v, want %v", series, name, g, want)
			}
			compared++
		}
	}
	if compared != 33 {
		t.Errorf("compared %d values", compared)
	}
}

// The converged fit of MASS takes 0.6745 for the normal's MAD where ours has
// more digits: the same fit with its k scaled.
func TestHuberPhones(t *testing.T) {
	x, y := phones(t)
	rows := map[string]published.Row{}
	for _, row := range published.Read(t, "phones-lines.csv") {
		rows[row.Text("method")] = row
	}
	ols := mustFit(t, x, y)
	if r := rows["ols"]; !closeRel(ols.Intercept, r.Num("intercept"), 1e-11) || !closeRel(ols.Slope, r.Num("slope"), 1e-11) {
		t.Errorf("least squares %v + %v x", ols.Intercept, ols.Slope)
	}
	same, ok := huber(x, y, huberK*normalMAD/0.6745)
	if r := rows["huber"]; !ok || !closeRel(same.Intercept, r.Num("intercept"), 1e-9) || !closeRel(same.Slope, r.Num("slope"), 1e-9) ||
		!closeRel(same.Scale*normalMAD/0.6745, r.Num("scale"), 1e-9) {
		t.Errorf("with the k of MASS: %+v %v", same, ok)
	}
	l, ok := Huber(x, y)
	if r := rows["huber-default"]; !ok || math.Abs(l.Intercept-r.Num("intercept")) > 0.1 || math.Abs(l.Slope-r.Num("slope")) > 0.1 {
		t.Errorf("%+v %v, want near the default accuracy of MASS", l, ok)
	}
}

func randomLine(rng *rand.Rand, n, wild int) (x, y []float64, slope float64) {
	slope = rng.Float64() - 0.5
	for i := range n {
		x = append(x, float64(i))
		y = append(y, 80+slope*float64(i)+0.4*rng.NormFloat64())
	}
	for _, i := range rng.Perm(n)[:wild] {
		y[i] = 1000 * (rng.Float64() - 0.5)
	}
	return x, y, slope
}

// Kendall's correlation of x with the residuals is 0 at Sen's slope, and
// changes its sign across it: gonum's correlation says the same as our pairs.
func TestTheilSenAgainstGonumKendall(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	tau := func(x, y []float64, slope float64) float64 {
		r := make([]float64, len(x))
		for i := range x {
			r[i] = y[i] - slope*x[i]
		}
		return stat.Kendall(x, r, nil)
	}
	for trial := range 100 {
		x, y, _ := randomLine(rng, 4+rng.IntN(40), 0)
		l, ok := TheilSen(x, y)
		if !ok || !(tau(x, y, l.Slope-1e-9) >= 0 && tau(x, y, l.Slope+1e-9) <= 0) {
			t.Errorf("trial %d: %v, tau %v and %v about the slope", trial, ok, tau(x, y, l.Slope-1e-9), tau(x, y, l.Slope+1e-9))
		}
	}
}

// The line of Huber's weights by gonum's weighted least squares is our line.
func TestHuberAgainstGonumWeighted(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for trial := range 200 {
		n := 6 + rng.IntN(40)
		x, y, _ := randomLine(rng, n, n/6)
		l, ok := Huber(x, y)
		if !ok {
			t.Errorf("trial %d: did not settle", trial)
			continue
		}
		w, abs := make([]float64, n), make([]float64, n)
		for i := range x {
			abs[i] = math.Abs(y[i] - l.Intercept - l.Slope*x[i])
			w[i] = min(1, 1.345*l.Scale/abs[i])
		}
		alpha, beta := stat.LinearRegression(x, y, w, false)
		slices.Sort(abs)
		mad := (abs[(n-1)/2] + abs[n/2]) / 2
		if !closeRel(alpha, l.Intercept, 1e-8) || math.Abs(beta-l.Slope) > 1e-9 || !closeRel(l.Scale, mad/0.67448975, 1e-7) {
			t.Errorf("trial %d: %+v, gonum %v + %v x, scale %v", trial, l, alpha, beta, mad/0.67448975)
		}
	}
}

// Wild readings, a fifth of all, carry off least squares and none of the robust lines.
func TestRobustLinesHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	var fit, worst float64
	for range 100 {
		x, y, slope := randomLine(rng, 30, 6)
		fit = max(fit, math.Abs(mustFit(t, x, y).Slope-slope))
		ts, _ := TheilSen(x, y)
		rm, _ := RepeatedMedian(x, y)
		for _, s := range []float64{ts.Slope, rm.Slope} {
			worst = max(worst, math.Abs(s-slope))
		}
	}
	if fit < 5 || worst > 0.15 {
		t.Errorf("least squares off by %v, robust lines by %v", fit, worst)
	}
}

// The order of the points does not matter.
func TestRobustLinesIgnoreOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	x, y, _ := randomLine(rng, 25, 3)
	want := robustLines(t, x, y)
	for range 20 {
		rng.Shuffle(len(x), func(i, j int) { x[i], x[j] = x[j], x[i]; y[i], y[j] = y[j], y[i] })
		for name, got := range robustLines(t, x, y) {
			if !closeRel(got, want[name], 1e-9) {
				t.Errorf("%s = %v, in order %v", name, got, want[name])
			}
		}
	}
}

func TestTheilSenIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	const trials = 4000
	for _, c := range []struct {
		n          int
		level      float64
		low, highs float64
	}{
		// The normal approximation with its rounding; 5 points are the fewest for 0.95.
		{5, 0.80, 0.78, 0.94}, {5, 0.95, 0.93, 1}, {12, 0.80, 0.78, 0.85}, {28, 0.95, 0.93, 0.97},
	} {
		hits := 0
		for range trials {
			x, y, slope := randomLine(rng, c.n, 0)
			l, _ := TheilSen(x, y)
			if low, high, ok := l.SlopeInterval(c.level); ok && low <= slope && slope <= high {
				hits++
			}
		}
		if share := float64(hits) / trials; share < c.low || share > c.highs {
			t.Errorf("%d points: an %v interval covers %v", c.n, c.level, share)
		}
	}
}

func TestTheilSenIntervalLevels(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4}
	y := []float64{1, 2.5, 2, 4, 4.4}
	at := func(n int, level float64) (low, high float64, ok bool) {
		l, _ := TheilSen(x[:n], y[:n])
		return l.SlopeInterval(level)
	}
	// Four points have six slopes, -0.5, 0.5, 0.75, 1, 1.5, 2: sd of the score
	// sqrt(4 3 13/18) = 2.944, ranks (6 -+ 1.2816 2.944)/2 = 1.11 and 4.89 + 1.
	if low, high, ok := at(4, 0.80); !ok || low != -0.5 || high != 2 {
		t.Errorf("four points at 0.80: %v..%v %v", low, high, ok)
	}
	// At 0.40 the ranks are (6 -+ 0.5244 2.944)/2 = 2.23 and 3.77 + 1.
	if low, high, ok := at(4, 0.40); !ok || low != 0.5 || high != 1.5 {
		t.Errorf("four points at 0.40: %v..%v %v", low, high, ok)
	}
	for _, c := range []struct {
		n     int
		level float64
		ok    bool
	}{
		{3, 0.80, false}, {4, 0.95, false}, {5, 0.95, true}, {5, 0.99, false},
		{5, 0, false}, {5, 1, false}, {5, -0.5, false}, {5, math.NaN(), false}, {5, math.Nextafter(1, 0), false}, {5, 1.5, false},
	} {
		if low, high, ok := at(c.n, c.level); ok != c.ok || !ok && (low != 0 || high != 0) {
			t.Errorf("%d points at %v: %v..%v %v", c.n, c.level, low, high, ok)
		}
	}
}

// Ties make the score vary less. By hand for x 1 1 2 3, y 5 5 5 9:
// 18 var = 4 3 13 - 2 1 9 - 3 2 11 = 72.
func TestTheilSenTies(t *testing.T) {
	if got := scoreSD([]float64{1, 1, 2, 3}, []float64{5, 9, 5, 5}, make([]float64, 4)); !closeRel(got, 2, 1e-12) {
		t.Errorf("SD of the score %v, want 2", got)
	}
	// Slopes 0, -4, 0, -2, 0: none between the points of one x.
	l, ok := TheilSen([]float64{1, 1, 2, 3}, []float64{5, 9, 5, 5})
	if !ok || l.Slope != 0 || l.Intercept != 5 || len(l.slopes) != 5 {
		t.Errorf("%+v %v", l, ok)
	}
}

// The formula goes under 0 where nearly all of both are tied; the SD does not.
func TestScoreSDOfNearlyAllTied(t *testing.T) {
	if got := scoreSD([]float64{1, 1, 1, 1, 2}, []float64{5, 5, 5, 5, 6}, make([]float64, 5)); got != 0 {
		t.Errorf("SD of the score %v", got)
	}
}

func TestRobustLinesDegenerate(t *testing.T) {
	for name, c := range map[string]struct{ x, y []float64 }{
		"nothing":               {nil, nil},
		"one point":             {[]float64{1}, []float64{2}},
		"all x equal":           {[]float64{3, 3, 3}, []float64{1, 2, 3}},
		"not a number in x":     {[]float64{0, math.NaN(), 2}, []float64{1, 2, 3}},
		"not a number in y":     {[]float64{0, 1, 2}, []float64{1, math.NaN(), 3}},
		"infinite":              {[]float64{0, 1, 2}, []float64{1, math.Inf(1), 3}},
		"infinite in x":         {[]float64{0, 1, 2, math.Inf(1)}, []float64{1, 2, 3, 4}},
		"overflowing intercept": {[]float64{1e300, 1e300 + 1e290}, []float64{0, 1e300}},
		"overflowing":           {[]float64{-1e-300, 0, 1e-300}, []float64{1e300, 2, -1e300}},
		"overflowing line":      {[]float64{1e300, 2e300, 1e300}, []float64{1e308, -1e308, 1e308}},
	} {
		t.Run(name, func(t *testing.T) {
			if l, ok := TheilSen(c.x, c.y); ok || l.N != 0 || l.slopes != nil {
				t.Errorf("TheilSen: %+v", l)
			}
			if l, ok := RepeatedMedian(c.x, c.y); ok || l != (RepeatedMedianLine{}) {
				t.Errorf("RepeatedMedian: %+v", l)
			}
			if l, ok := Huber(c.x, c.y); ok || l != (HuberLine{}) {
				t.Errorf("Huber: %+v", l)
			}
		})
	}
}

func TestRobustLinesTwoPoints(t *testing.T) {
	x, y := []float64{0, 2}, []float64{80, 79}
	ts, ok1 := TheilSen(x, y)
	rm, ok2 := RepeatedMedian(x, y)
	if !ok1 || !ok2 || ts.Slope != -0.5 || ts.Intercept != 80 || rm != (RepeatedMedianLine{N: 2, Slope: -0.5, Intercept: 80}) {
		t.Errorf("%+v %+v", ts, rm)
	}
}

func TestHuberNeedsFourPoints(t *testing.T) {
	x, y := []float64{0, 1, 2, 3}, []float64{80, 79.4, 79.3, 78.5}
	for n := range 4 {
		if l, ok := Huber(x[:n], y[:n]); ok || l != (HuberLine{}) {
			t.Errorf("%d points: %+v", n, l)
		}
	}
	if l, ok := Huber(x, y); !ok || !(l.Slope < -0.4 && l.Slope > -0.55) || l.N != 4 {
		t.Errorf("four points: %+v %v", l, ok)
	}
}

// With normal residuals Huber's psi at k has the efficiency
//
//	m^2/(m - 2 k phi(k) + 2 k^2 (1 - Phi(k))), m = 2 Phi(k) - 1
//
// of least squares (the mean of psi' squared over that of psi^2).
func TestHuberEfficiency(t *testing.T) {
	n := distuv.UnitNormal
	m := 2*n.CDF(huberK) - 1
	if e := m * m / (m - 2*huberK*n.Prob(huberK) + 2*huberK*huberK*(1-n.CDF(huberK))); math.Abs(e-0.95) > 1e-4 {
		t.Errorf("efficiency %v", e)
	}
	if got := n.Quantile(0.75); math.Abs(got-normalMAD) > 1e-12 {
		t.Errorf("the normal's MAD is %v, not %v", got, normalMAD)
	}
}

// Where the iteration does not settle there is no line; that is rare, and what
// settles solves the equation it is to solve.
func TestHuberSettles(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 20))
	settled, tried := 0, 5000
	for range tried {
		n := 4 + rng.IntN(12)
		x, y, _ := randomLine(rng, n, rng.IntN(3))
		l, ok := Huber(x, y)
		if !ok {
			if l != (HuberLine{}) {
				t.Errorf("no line, but %+v", l)
			}
			continue
		}
		settled++
		var sum, moment float64
		for i := range x {
			psi := max(-1.345, min(1.345, (y[i]-l.Intercept-l.Slope*x[i])/l.Scale))
			sum, moment = sum+psi, moment+psi*x[i]
		}
		if math.Abs(sum) > 1e-8 || math.Abs(moment) > 1e-7 {
			t.Errorf("%+v leaves %v and %v", l, sum, moment)
		}
	}
	// Scatter as fine as rounding allows to tell.
	x, y, _ := randomLine(rng, 20, 0)
	for i := range y {
		y[i] = 90 + 1e-9*y[i]
	}
	if l, ok := Huber(x, y); !ok || !(l.Scale > 1e-10) {
		t.Errorf("fine scatter: %+v %v", l, ok)
	}
	if settled < tried*98/100 || settled == tried {
		t.Errorf("settled in %d of %d", settled, tried)
	}
}

// More than half of the points lie on a line: that line it is, its scale 0.
func TestHuberExact(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5, 6}
	y := []float64{80, 80, 80, 80, 80, 80, 80}
	if l, ok := Huber(x, y); !ok || l != (HuberLine{N: 7, Intercept: 80}) {
		t.Errorf("flat: %+v %v", l, ok)
	}
	if l, ok := Huber(x, make([]float64, 7)); !ok || l != (HuberLine{N: 7}) {
		t.Errorf("all 0: %+v %v", l, ok)
	}
	y[2], y[5] = 95, 60
	l, ok := Huber(x, y)
	if !ok || math.Abs(l.Slope) > 1e-9 || math.Abs(l.Intercept-80) > 1e-9 || l.Scale != 0 || l.SlopeSE.OK || l.InterceptSE.OK {
		t.Errorf("two wild: %+v %v", l, ok)
	}
}

func TestRobustLinesPanicOnLengths(t *testing.T) {
	x, y := []float64{1, 2}, []float64{1}
	for name, f := range map[string]func(){
		"TheilSen": func() { TheilSen(x, y) }, "RepeatedMedian": func() { RepeatedMedian(x, y) }, "Huber": func() { Huber(x, y) },
	} {
		func() {
			defer func() {
				if got := recover(); got != errLengths {
					t.Errorf("%s: panic %v", name, got)
				}
			}()
			f()
		}()
	}
}

// Fitting leaves the caller's data as they were.
func TestRobustLinesLeaveData(t *testing.T) {
	x, y := seriesOf(t, "outlier")
	x2, y2 := slices.Clone(x), slices.Clone(y)
	robustLines(t, x, y)
	if !slices.Equal(x, x2) || !slices.Equal(y, y2) {
		t.Error("data were changed")
	}
}

func ExampleTheilSen() {
	days, kg := []float64{-6, -5, -4, -3, -2, -1, 0}, []float64{82.4, 82.6, 82.1, 28.1, 82.0, 81.7, 81.8} // 28.1 is a typing error
	line, _ := TheilSen(days, kg)
	low, high, _ := line.SlopeInterval(0.80)
	fmt.Printf("%.1f kg today, %.2f kg a week (80 %%: %.2f to %.2f)\n", line.Intercept, 7*line.Slope, 7*low, 7*high)
	// Output: 81.6 kg today, -0.93 kg a week (80 %: -1.57 to -0.35)
}
