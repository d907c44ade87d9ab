package balance

// The states, in this order everywhere: t is tissue and constant weight (kg), m
// maintenance (tracked kcal/d), a autoregressive water (kg), k water per 1000
// kcal/d of intake change (kg), c the amplitude of the cycle (kg).
type vector struct{ t, m, a, k, c float64 }

// covariance of the states. It is symmetric, and a pair stands once. Its
// operations are written out instead of looped over: a day then costs a few
// hundred multiplications and no memory.
type covariance struct {
	tt, tm, ta, tk, tc float64
	mm, ma, mk, mc     float64
	aa, ak, ac         float64
	kk, kc             float64
	cc                 float64
}

// The transition of one day, F: T' = keepT T - takeM M, A' = waterCarry A, the
// others stay.
const keepT, takeM = 1 - kcalPerKgDay/float64(kcalPerKg), 1 / float64(kcalPerKg)

// overNight makes P into F P F'.
func (p *covariance) overNight() {
	tm := keepT*p.tm - takeM*p.mm
	p.tt = keepT*(keepT*p.tt-takeM*p.tm) - takeM*tm
	p.tm = tm
	p.ta = (keepT*p.ta - takeM*p.ma) * waterCarry
	p.tk = keepT*p.tk - takeM*p.mk
	p.tc = keepT*p.tc - takeM*p.mc
	p.ma *= waterCarry
	p.aa *= waterCarry * waterCarry
	p.ak *= waterCarry
	p.ac *= waterCarry
}

// backOverNight makes N into F' N F.
func (n *covariance) backOverNight() {
	n.mm += takeM * (takeM*n.tt - 2*n.tm)
	n.ma = (n.ma - takeM*n.ta) * waterCarry
	n.mk -= takeM * n.tk
	n.mc -= takeM * n.tc
	n.tm = keepT * (n.tm - takeM*n.tt)
	n.tt *= keepT * keepT
	n.ta *= keepT * waterCarry
	n.tk *= keepT
	n.tc *= keepT
	n.aa *= waterCarry * waterCarry
	n.ak *= waterCarry
	n.ac *= waterCarry
}

// times returns P v.
func (p *covariance) times(v *vector) vector {
	return vector{
		t: p.tt*v.t + p.tm*v.m + p.ta*v.a + p.tk*v.k + p.tc*v.c,
		m: p.tm*v.t + p.mm*v.m + p.ma*v.a + p.mk*v.k + p.mc*v.c,
		a: p.ta*v.t + p.ma*v.m + p.aa*v.a + p.ak*v.k + p.ac*v.c,
		k: p.tk*v.t + p.mk*v.m + p.ak*v.a + p.kk*v.k + p.kc*v.c,
		c: p.tc*v.t + p.mc*v.m + p.ac*v.a + p.kc*v.k + p.cc*v.c,
	}
}

// of returns v' P v.
func (p *covariance) of(v *vector) float64 {
	return v.t*(p.tt*v.t+2*(p.tm*v.m+p.ta*v.a+p.tk*v.k+p.tc*v.c)) +
		v.m*(p.mm*v.m+2*(p.ma*v.a+p.mk*v.k+p.mc*v.c)) +
		v.a*(p.aa*v.a+2*(p.ak*v.k+p.ac*v.c)) +
		v.k*(p.kk*v.k+2*p.kc*v.c) +
		v.c*(p.cc*v.c)
}

// atReading returns P h for a reading's h = (1, 0, 1, swing, shape).
func (p *covariance) atReading(swing, shape float64) vector {
	return vector{
		t: p.tt + p.ta + p.tk*swing + p.tc*shape,
		m: p.tm + p.ma + p.mk*swing + p.mc*shape,
		a: p.ta + p.aa + p.ak*swing + p.ac*shape,
		k: p.tk + p.ak + p.kk*swing + p.kc*shape,
		c: p.tc + p.ac + p.kc*swing + p.cc*shape,
	}
}

// subtract takes away u v', of which only u and v that make it symmetric are given.
func (p *covariance) subtract(u, v *vector) {
	p.tt -= u.t * v.t
	p.tm -= u.t * v.m
	p.ta -= u.t * v.a
	p.tk -= u.t * v.k
	p.tc -= u.t * v.c
	p.mm -= u.m * v.m
	p.ma -= u.m * v.a
	p.mk -= u.m * v.k
	p.mc -= u.m * v.c
	p.aa -= u.a * v.a
	p.ak -= u.a * v.k
	p.ac -= u.a * v.c
	p.kk -= u.k * v.k
	p.kc -= u.k * v.c
	p.cc -= u.c * v.c
}

func (v *vector) dot(w *vector) float64 {
	return v.t*w.t + v.m*w.m + v.a*w.a + v.k*w.k + v.c*w.c
}
