package dist

import "math"

// StudentCDF returns the probability that a variable of Student's t
// distribution with df degrees of freedom is at most t. Its error is below 1e-12
// for the usual df and grows with them, to 1e-10 at a million.
func StudentCDF(t float64, df int) float64 {
	if math.IsNaN(t) {
		panic(errNaN)
	}
	checkDF(df)
	if t <= 0 {
		return studentTail(-t, df)
	}
	return 1 - studentTail(t, df)
}

// StudentQuantile returns the t with StudentCDF(t, df) == p: -Inf at 0, +Inf at 1.
//
// One degree of freedom has a closed form. For more it solves
// ln P(T > t) = ln q by Newton's method in u = ln t, where the tail is nearly
// linear for small q as well as near the centre, starting at the normal
// quantile.
func StudentQuantile(p float64, df int) float64 {
	checkProbability(p)
	checkDF(df)
	switch {
	case p == 1:
		return math.Inf(1)
	case p == 0.5:
		return 0
	case p < 0.5:
		return -upperQuantile(p, df)
	}
	return upperQuantile(1-p, df)
}

// upperQuantile returns the t > 0 with P(T > t) = q, for 0 <= q < 0.5.
func upperQuantile(q float64, df int) float64 {
	if q == 0 {
		return math.Inf(1)
	}
	if df == 1 {
		return 1 / math.Tan(math.Pi*q)
	}
	t := -NormalQuantile(q)
	for range maxNewton {
		tail := studentTail(t, df)
		step := math.Log(tail/q) * tail / timesDensity(t, df)
		t *= math.Exp(step)
		if math.Abs(step) <= 1e-15 {
			break
		}
	}
	return t
}

// studentTail returns P(T > t) for t >= 0:
//
//	P(T > t) = I_x(df/2, 1/2) / 2   with x = df/(df + t^2)
//
// (Abramowitz & Stegun, Handbook of Mathematical Functions, 26.7.1 and 26.5.27).
func studentTail(t float64, df int) float64 {
	nu := float64(df)
	r := t / math.Sqrt(nu)
	x, y := 1/(1+r*r), 1/(1+1/(r*r)) // y = 1-x, without the cancellation
	a := nu / 2
	// x^a y^(1/2) / B(a, 1/2)
	front := math.Exp(-a*math.Log1p(r*r)+logGammaRatio(a)) * math.Sqrt(y/math.Pi)
	if x < (a+1)/(a+2.5) {
		return front * betaFraction(a, 0.5, x) / a / 2
	}
	return 0.5 - front*betaFraction(0.5, a, y)
}

// timesDensity returns t times the density at t > 0, in one exponential: far out
// the density alone would underflow.
func timesDensity(t float64, df int) float64 {
	nu := float64(df)
	r := t / math.Sqrt(nu)
	return math.Exp(math.Log(r)+logGammaRatio(nu/2)-(nu+1)/2*math.Log1p(r*r)) / math.Sqrt(math.Pi)
}

// logGammaRatio returns ln(Gamma(a+1/2)/Gamma(a)) for a >= 1/2. For large a the
// difference of two logarithms of Gamma would lose digits, so it uses their
// asymptotic difference (from Stirling's series, Abramowitz & Stegun 6.1.40);
// from a = 20 on the terms left out are below 1e-15.
func logGammaRatio(a float64) float64 {
	if a < 20 {
		upper, _ := math.Lgamma(a + 0.5)
		lower, _ := math.Lgamma(a)
		return upper - lower
	}
	i := 1 / a
	j := i * i
	return math.Log(a)/2 + i*(-1.0/8+j*(1.0/192+j*(-1.0/640+j*(17.0/14336))))
}

// betaFraction evaluates the continued fraction of the incomplete beta function,
//
//	I_x(a, b) = x^a (1-x)^b / (a B(a, b)) * 1/(1 + d1/(1 + d2/(1 + ...)))
//
// (Abramowitz & Stegun 26.5.8) by the modified Lentz method. It converges
// fast for x < (a+1)/(a+b+2), in about sqrt(max(a, b)) terms.
func betaFraction(a, b, x float64) float64 {
	const tiny = 1e-300
	away := func(v float64) float64 { // from zero, as the method asks
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, d := 1.0, 1/away(1-(a+b)*x/(a+1))
	h := d
	for i := 1; i <= 10_000; i++ {
		m := float64(i)
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / away(1+even*d)
		c = away(1 + even/c)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / away(1+odd*d)
		c = away(1 + odd/c)
		h *= d * c
		if math.Abs(d*c-1) < 1e-16 {
			break
		}
	}
	return h
}

func checkDF(df int) {
	if df < 1 {
		panic(errDF)
	}
}
