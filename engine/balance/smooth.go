package balance

import "example.com/steelyard/engine"

// night is what the smoother needs of a morning: the filter after the reading,
// and how the reading moved it.
type night struct {
	x     vector
	p     covariance
	frame frame
	kcal  float64 // what the rate is judged at

	isUsed bool
	used   reading
}

// Smooth is Run with a second pass, backward: its line tells of each morning
// what all readings say, those after it too. It is the line of past days in a
// chart. Decisions are made on the filter: on the last day the two are the same.
//
// It is the fixed-interval smoother of Rauch, Tung and Striebel (AIAA J
// 1965;3:1445-1450) over the five states, in the form that needs no inverse (de
// Jong P, Biometrika 1988;75:594-600, after Bryson and Frazier). With x and P
// the filter's after a morning's reading, r = 0 and N = 0 on the last day, and
// back over a used reading h with gain K, innovation v and its variance S, then
// back over the night with the transition F,
//
//	xs = x + P r,  Ps = P - P N P
//	r <- h v/S + (1 - K h')' r,  N <- h h'/S + (1 - K h')' N (1 - K h')
//	r <- F' r,  N <- F' N F
//
// All that the filter decided stays as it was: which readings were refused, what
// a doubtful one counted for, how noisy the scale was, how much water a mark
// brought. A refused reading moves nothing in either direction. Where three
// refused readings alike made the filter believe in a new level, the weight was
// let go in the night before the third of them, and the smoother breaks the
// line in that same night: it carries nothing of the new level into the days
// before, the first two alike included.
func Smooth(first engine.Day, in []Input, g Guess) (t Track, line []State) {
	return new(Scratch).Smooth(first, in, g)
}

// Smooth is the function of that name.
func (m *Scratch) Smooth(first engine.Day, in []Input, g Guess) (t Track, line []State) {
	var r run
	m.begin(&r, first, in, g)
	m.nights, m.smooth = sized(m.nights, len(in)), sized(m.smooth, len(in))
	for i := range in {
		m.morning(&r, i)
		n := &m.nights[i]
		n.x, n.p, n.frame, n.isUsed, n.used = r.x, r.p, r.frame, r.isUsed, r.used
		n.kcal = r.expectedKcal(&in[i])
	}
	var b backward
	for i := len(in) - 1; i >= 0; i-- {
		m.smooth[i] = m.days[i]
		if !m.days[i].Started {
			continue
		}
		n := &m.nights[i]
		o := b.outlook(n)
		m.smooth[i].tell(&o, n.kcal, in[i].ActivityKcal)
		if n.isUsed {
			b.overReading(&n.used)
		}
		b.overNight()
	}
	return m.track(&r), m.smooth
}

// backward is what the days after say: r and N of Smooth.
type backward struct {
	r vector
	n covariance
}

// outlook returns what xs and Ps make of a morning.
func (b *backward) outlook(n *night) outlook {
	p, r := &n.p, &b.r
	pt := vector{p.tt, p.tm, p.ta, p.tk, p.tc} // rows of P
	pm := vector{p.tm, p.mm, p.ma, p.mk, p.mc}
	pk := vector{p.tk, p.mk, p.ak, p.kk, p.kc}
	nt := b.n.times(&pt)
	return outlook{
		frame: &n.frame,
		t:     n.x.t + pt.dot(r),
		m:     n.x.m + pm.dot(r),
		k:     n.x.k + pk.dot(r),
		tt:    p.tt - pt.dot(&nt),
		mm:    p.mm - b.n.of(&pm),
		tk:    p.tk - pk.dot(&nt),
		kk:    p.kk - b.n.of(&pk),
	}
}

// overReading goes back over a used reading; h = (1, 0, 1, swing, shape).
func (b *backward) overReading(u *reading) {
	pull := u.pull - u.gain.dot(&b.r)
	b.r.t += pull
	b.r.a += pull
	b.r.k += pull * u.swing
	b.r.c += pull * u.shape

	// N - h g' - g h' + h h' (K'g + 1/S) with g = N K, as -h e' - e h' where
	// e = g - h (K'g + 1/S)/2
	e := b.n.times(&u.gain)
	half := (u.gain.dot(&e) + u.weight) / 2
	e.t -= half
	e.a -= half
	e.k -= half * u.swing
	e.c -= half * u.shape
	h := vector{1, 0, 1, u.swing, u.shape}
	n := &b.n
	n.tt -= 2 * e.t
	n.tm -= e.m
	n.ta -= e.a + e.t
	n.tk -= e.k + h.k*e.t
	n.tc -= e.c + h.c*e.t
	n.ma -= e.m
	n.mk -= e.m * h.k
	n.mc -= e.m * h.c
	n.aa -= 2 * e.a
	n.ak -= e.k + h.k*e.a
	n.ac -= e.c + h.c*e.a
	n.kk -= 2 * h.k * e.k
	n.kc -= h.k*e.c + e.k*h.c
	n.cc -= 2 * h.c * e.c
}

// overNight goes back over the transition of one day.
func (b *backward) overNight() {
	b.r.m -= takeM * b.r.t
	b.r.t *= keepT
	b.r.a *= waterCarry
	b.n.backOverNight()
}
