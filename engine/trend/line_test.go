package trend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func closeRel(got, want, tol float64) bool { return math.Abs(got-want) <= tol*math.Abs(want) }

func norris(t *testing.T) (x, y []float64) {
	for _, row := range published.Read(t, "norris.csv") {
		x, y = append(x, row.Num("x")), append(y, row.Num("y"))
	}
	return x, y
}

func mustFit(t *testing.T, x, y []float64) Line {
	t.Helper()
	l, ok := Fit(x, y)
	if !ok {
		t.Fatalf("no line through %v, %v", x, y)
	}
	return l
}

func TestFitNorrisCertified(t *testing.T) {
	x, y := norris(t)
	l := mustFit(t, x, y)
	got := map[string]engine.Opt{
		"intercept": engine.Some(l.Intercept), "intercept_se": l.InterceptSE,
		"slope": engine.Some(l.Slope), "slope_se": l.SlopeSE,
		"residual_sd": l.ResidualSD, "r2": l.R2,
	}
	seen := 0
	for _, row := range published.Read(t, "norris-certified.csv") {
		name, want := row.Text("quantity"), row.Num("value")
		g, ok := got[name]
		if !ok || !g.OK || !closeRel(g.V, want, 1e-9) {
			t.Errorf("%s = %v, certified %v", name, g, want)
		}
		seen++
	}
	if seen != len(got) || l.N != 36 {
		t.Errorf("compared %d quantities of %d on N = %d", seen, len(got), l.N)
	}
}

func TestFitAgreesWithGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for trial := range 200 {
		n := 3 + rng.IntN(60)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = rng.Float64()*90 - 89
			y[i] = 80 - 0.09*x[i] + rng.NormFloat64()*0.5
		}
		l := mustFit(t, x, y)
		alpha, beta := stat.LinearRegression(x, y, nil, false)
		r2 := stat.RSquared(x, y, nil, alpha, beta)
		// gonum has no standard errors: from the moments it has.
		var sse float64
		for i := range x {
			sse += math.Pow(y[i]-alpha-beta*x[i], 2)
		}
		s := math.Sqrt(sse / float64(n-2))
		slopeSE := s / math.Sqrt(stat.Variance(x, nil)*float64(n-1))
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"slope", l.Slope, beta}, {"intercept", l.Intercept, alpha}, {"R2", l.R2.V, r2},
			{"residual SD", l.ResidualSD.V, s}, {"slope SE", l.SlopeSE.V, slopeSE},
		} {
			if !closeRel(c.got, c.want, 1e-8) {
				t.Errorf("trial %d, n %d: %s %v, gonum %v", trial, n, c.name, c.got, c.want)
			}
		}
		for _, level := range []float64{0.5, 0.8, 0.95} {
			q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 2)}.Quantile(0.5 + level/2)
			low, high, ok := l.SlopeInterval(level)
			if !ok || !closeRel(high-low, 2*q*slopeSE, 1e-8) || !closeRel((high+low)/2, beta, 1e-7) {
				t.Errorf("trial %d: %v interval %v..%v", trial, level, low, high)
			}
		}
		if at0 := l.PredictAt(0); !closeRel(at0.Y, l.Intercept, 1e-12) || !closeRel(at0.MeanSE.V, l.InterceptSE.V, 1e-12) {
			t.Errorf("trial %d: at 0 %+v, intercept %v +- %v", trial, at0, l.Intercept, l.InterceptSE.V)
		}
	}
}

// The interval covers the true slope as often as it says.
func TestSlopeIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const trials, n, level, slope = 4000, 7, 0.8, -0.1
	hits := 0
	for range trials {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i), 85+slope*float64(i)+0.5*rng.NormFloat64()
		}
		if low, high, ok := mustFit(t, x, y).SlopeInterval(level); ok && low <= slope && slope <= high {
			hits++
		}
	}
	// Five standard errors of a proportion.
	if share := float64(hits) / trials; math.Abs(share-level) > 5*math.Sqrt(level*(1-level)/trials) {
		t.Errorf("an %v interval covers %v", level, share)
	}
}

func TestPredictAt(t *testing.T) {
	// By hand: mean x 1.5, mean y 2, Sxx 5, Sxy 2.6, slope 0.52, intercept 1.22;
	// residuals -0.22, 0.66, -0.66, 0.22, their squares 0.968, s^2 0.484.
	l := mustFit(t, []float64{0, 1, 2, 3}, []float64{1, 2.4, 1.6, 3})
	p := l.PredictAt(4)
	mean := math.Sqrt(0.484 * (0.25 + 6.25/5))
	reading := math.Sqrt(0.484 * (1.25 + 6.25/5))
	if !closeRel(p.Y, 3.3, 1e-12) || !closeRel(p.MeanSE.V, mean, 1e-12) || !closeRel(p.ReadingSE.V, reading, 1e-12) {
		t.Errorf("at 4: %+v, want 3.3, %v, %v", p, mean, reading)
	}
	if c := l.PredictAt(1.5); !closeRel(c.Y, 2, 1e-12) || !closeRel(c.MeanSE.V, math.Sqrt(0.484/4), 1e-12) {
		t.Errorf("at the mean: %+v", c)
	}
}

func TestFitDegenerate(t *testing.T) {
	for name, c := range map[string]struct{ x, y []float64 }{
		"nothing":           {nil, nil},
		"one point":         {[]float64{1}, []float64{2}},
		"all x equal":       {[]float64{3, 3, 3}, []float64{1, 2, 3}},
		"all equal":         {[]float64{0, 0}, []float64{0, 0}},
		"not a number in x": {[]float64{0, math.NaN(), 2}, []float64{1, 2, 3}},
		"not a number in y": {[]float64{0, 1, 2}, []float64{1, math.NaN(), 3}},
		"infinite":          {[]float64{0, 1, 2}, []float64{1, math.Inf(1), 3}},
		"overflowing":       {[]float64{-1e300, 0, 1e300}, []float64{1, 2, 3}},
	} {
		t.Run(name, func(t *testing.T) {
			if l, ok := Fit(c.x, c.y); ok || l != (Line{}) {
				t.Errorf("got a line: %+v", l)
			}
		})
	}
}

func TestFitTwoPoints(t *testing.T) {
	l := mustFit(t, []float64{0, 2}, []float64{80, 79})
	if l.Slope != -0.5 || l.Intercept != 80 || l.N != 2 || l.R2 != engine.Some(1) {
		t.Errorf("line %+v", l)
	}
	if l.SlopeSE.OK || l.InterceptSE.OK || l.ResidualSD.OK {
		t.Errorf("two points cannot have errors: %+v", l)
	}
	if p := l.PredictAt(4); p.Y != 78 || p.MeanSE.OK || p.ReadingSE.OK {
		t.Errorf("prediction %+v", p)
	}
	if _, _, ok := l.SlopeInterval(0.8); ok {
		t.Error("two points cannot have an interval")
	}
}

func TestFitFlat(t *testing.T) {
	l := mustFit(t, []float64{0, 1, 2, 3}, []float64{80, 80, 80, 80})
	if l.Slope != 0 || l.Intercept != 80 || l.R2.OK || l.ResidualSD != engine.Some(0) {
		t.Errorf("line %+v", l)
	}
}

func TestSlopeIntervalLevels(t *testing.T) {
	l := mustFit(t, []float64{0, 1, 2, 3}, []float64{1, 2.4, 1.6, 3})
	for _, level := range []float64{0, 1, math.Nextafter(1, 0), -0.5, 1.5, math.NaN(), math.Inf(1)} {
		if low, high, ok := l.SlopeInterval(level); ok {
			t.Errorf("level %v gave %v..%v", level, low, high)
		}
	}
}

func TestFitPanicsOnLengths(t *testing.T) {
	defer func() {
		if got := recover(); got != errLengths {
			t.Errorf("panic %v, want %q", got, errLengths)
		}
	}()
	Fit([]float64{1, 2}, []float64{1})
}

func ExampleFit() {
	days, kg := []float64{-6, -5, -4, -2, -1, 0}, []float64{82.4, 82.6, 82.1, 82.0, 81.7, 81.8}
	line, _ := Fit(days, kg)
	low, high, _ := line.SlopeInterval(0.80)
	fmt.Printf("%.1f kg today, %.2f kg a week (80 %%: %.2f to %.2f)\n", line.Intercept, 7*line.Slope, 7*low, 7*high)
	// Output: 81.7 kg today, -0.93 kg a week (80 %: -1.26 to -0.59)
}
