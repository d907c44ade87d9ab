package dist

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/steelyard/testdata/published"
)

// near compares absolutely for small numbers and relatively for large ones.
func near(got, want, tol float64) bool {
	return math.Abs(got-want) <= tol*max(1, math.Abs(want))
}

func TestNormalAgreesWithGonum(t *testing.T) {
	for x := -12.0; x <= 12; x += 0.0625 {
		want := distuv.UnitNormal.CDF(x)
		if got := NormalCDF(x); math.Abs(got-want) > 1e-13*want {
			t.Errorf("NormalCDF(%v) = %v, gonum %v", x, got, want)
		}
	}
	for _, p := range []float64{1e-12, 1e-9, 1e-6, 0.001, 0.025, 0.25, 0.4, 0.4999999, 0.5, 0.5000001, 0.6, 0.9, 0.975, 0.9999, 1 - 1e-9} {
		if got, want := NormalQuantile(p), distuv.UnitNormal.Quantile(p); !near(got, want, 1e-9) {
			t.Errorf("NormalQuantile(%v) = %v, gonum %v", p, got, want)
		}
	}
}

func TestNormalQuantileInvertsCDF(t *testing.T) {
	for x := -37.0; x <= 5; x += 0.03125 {
		if got := NormalQuantile(NormalCDF(x)); !near(got, x, 1e-9) {
			t.Errorf("NormalQuantile(NormalCDF(%v)) = %v", x, got)
		}
	}
}

// What is written down is what the method gives, where it is asked on the other
// side: to the bit, or the next one on a processor that rounds otherwise.
func TestNormalQuantilesWrittenDown(t *testing.T) {
	for _, p := range []float64{0.90, 0.975} {
		got, want := NormalQuantile(p), -NormalQuantile(1-p)
		if got < math.Nextafter(want, 0) || got > math.Nextafter(want, 10) {
			t.Errorf("NormalQuantile(%v) = %v, by the method %v", p, got, want)
		}
	}
}

func TestStudentAgreesWithGonum(t *testing.T) {
	for _, df := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 15, 20, 30, 39, 40, 41, 60, 120, 365, 1000, 10_000} {
		gonum := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}
		for x := -30.0; x <= 30; x += 0.125 {
			if got, want := StudentCDF(x, df), gonum.CDF(x); math.Abs(got-want) > 1e-12 {
				t.Errorf("StudentCDF(%v, %d) = %v, gonum %v", x, df, got, want)
			}
		}
		// gonum's own quantile loses digits beyond these tails and close to the
		// centre; TestStudentFarOut goes there.
		for _, p := range []float64{1e-6, 0.001, 0.01, 0.025, 0.1, 0.25, 0.4, 0.49, 0.5, 0.51, 0.6, 0.8, 0.9, 0.95, 0.975, 0.995, 0.9999} {
			if got, want := StudentQuantile(p, df), gonum.Quantile(p); !near(got, want, 1e-9) {
				t.Errorf("StudentQuantile(%v, %d) = %v, gonum %v", p, df, got, want)
			}
		}
	}
}

// References computed with the arbitrary-precision library mpmath at 50 digits,
// from the regularised incomplete beta function.
func TestStudentFarOut(t *testing.T) {
	for _, c := range []struct {
		p    float64
		df   int
		want float64
	}{
		{1e-12, 3, -10331.10824429249},
		{1e-12, 10, -40.5320961786626},
		{1e-12, 365, -7.285051011258588},
		{1e-9, 10_000, -6.003355447947142},
		{1e-6, 41, -5.531844215902119},
		{0.4999999, 10, -2.569978034930524e-07},
		{0.4999999, 1000, -2.507255009933877e-07},
		{0.975, 1_000_000, 1.959966356814107},
	} {
		if got := StudentQuantile(c.p, c.df); math.Abs(got-c.want) > 1e-10*max(math.Abs(c.want), 1e-5) {
			t.Errorf("StudentQuantile(%v, %d) = %v, want %v", c.p, c.df, got, c.want)
		}
	}
}

func TestStudentPrintedTable(t *testing.T) {
	for _, row := range published.Read(t, "student-t.csv") {
		p, df, want := row.Num("p"), row.Int("df"), row.Num("t")
		if got := StudentQuantile(p, df); math.Abs(got-want) > 0.0005+1e-9 {
			t.Errorf("StudentQuantile(%v, %d) = %v, printed %v", p, df, got, want)
		}
	}
}

// References computed with mpmath at 40 digits. Half-way through is the change
// from the logarithms of Gamma to their asymptotic difference.
func TestLogGammaRatio(t *testing.T) {
	for _, c := range []struct{ a, want float64 }{
		{0.5, -0.572364942924700087},
		{1, -0.120782237635245222},
		{7.5, 0.990797124306681345},
		{19.5, 1.47879767823839704},
		{20, 1.49161678733130407},
		{33.5, 1.75204151463146397},
		{182.5, 2.60269015586127665},
		{500_000, 6.5611814387021644},
	} {
		if got := logGammaRatio(c.a); math.Abs(got-c.want) > 3e-14 {
			t.Errorf("logGammaRatio(%v) = %v, want %v", c.a, got, c.want)
		}
	}
}

// One degree of freedom has a closed form, t = -1/tan(pi p).
func TestStudentOneDegreeClosedForm(t *testing.T) {
	for _, p := range []float64{1e-300, 1e-20, 0.1, 0.49} {
		if got, want := StudentQuantile(p, 1), -1/math.Tan(math.Pi*p); !near(got, want, 1e-12) {
			t.Errorf("StudentQuantile(%v, 1) = %v, want %v", p, got, want)
		}
	}
	if got := StudentCDF(StudentQuantile(0.2, 1), 1); !near(got, 0.2, 1e-12) {
		t.Errorf("back from the quantile of 0.2: %v", got)
	}
}

// Two degrees of freedom have a closed form, t = (2p-1)/sqrt(2p(1-p)).
func TestStudentTwoDegreesClosedForm(t *testing.T) {
	for _, p := range []float64{1e-300, 1e-100, 1e-20, 1e-6, 0.1, 0.49, 0.7, 0.99} {
		want := (2*p - 1) / math.Sqrt(2*p*(1-p))
		if got := StudentQuantile(p, 2); !near(got, want, 1e-12) {
			t.Errorf("StudentQuantile(%v, 2) = %v, want %v", p, got, want)
		}
	}
}

// With very many degrees of freedom t becomes normal; the difference is
// (z^3+z)/(4 df) to first order (Abramowitz & Stegun 26.7.5).
func TestStudentManyDegrees(t *testing.T) {
	for _, df := range []int{100_000, 1_000_000} {
		for _, p := range []float64{0.001, 0.025, 0.6, 0.9, 0.995} {
			z := NormalQuantile(p)
			want := z + (z*z*z+z)/(4*float64(df))
			if got := StudentQuantile(p, df); !near(got, want, 1e-9) {
				t.Errorf("StudentQuantile(%v, %d) = %v, want %v", p, df, got, want)
			}
		}
	}
}

func TestEnds(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"NormalQuantile(0)", NormalQuantile(0), -inf},
		{"NormalQuantile(1)", NormalQuantile(1), inf},
		{"NormalQuantile(0.5)", NormalQuantile(0.5), 0},
		{"NormalQuantile of the smallest number", NormalQuantile(math.SmallestNonzeroFloat64), NormalQuantile(1e-300)},
		{"NormalCDF(-inf)", NormalCDF(-inf), 0},
		{"NormalCDF(inf)", NormalCDF(inf), 1},
		{"StudentQuantile(0)", StudentQuantile(0, 5), -inf},
		{"StudentQuantile(1)", StudentQuantile(1, 5), inf},
		{"StudentQuantile(0.5)", StudentQuantile(0.5, 5), 0},
		{"StudentCDF(-inf)", StudentCDF(-inf, 5), 0},
		{"StudentCDF(inf)", StudentCDF(inf, 5), 1},
		{"StudentCDF(0)", StudentCDF(0, 5), 0.5},
	} {
		if c.got != c.want {
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
}

func TestPanicsOnProgrammingErrors(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		call func()
		want string
	}{
		"quantile below 0":   {func() { NormalQuantile(-0.1) }, errProbability},
		"quantile above 1":   {func() { NormalQuantile(1.1) }, errProbability},
		"quantile of NaN":    {func() { StudentQuantile(nan, 3) }, errProbability},
		"no freedom":         {func() { StudentQuantile(0.9, 0) }, errDF},
		"no freedom, CDF":    {func() { StudentCDF(1, 0) }, errDF},
		"CDF of NaN":         {func() { NormalCDF(nan) }, errNaN},
		"Student CDF of NaN": {func() { StudentCDF(nan, 3) }, errNaN},
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if got := recover(); got != c.want {
					t.Errorf("panic %v, want %q", got, c.want)
				}
			}()
			c.call()
		})
	}
}
