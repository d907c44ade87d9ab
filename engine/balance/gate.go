package balance

import "math"

// The reject gate; fitted on the virtual cohort. Without it typing errors
// destroy the filter; without letting three alike in, a real step (a new
// scale, a long gap) would be refused for ever.
const (
	rejectZ     = 4.25
	softZ       = 2 // beyond this a reading counts for less
	doubtZ      = 3 // beyond this it is used, but worth asking about: about 0.8 % of real readings
	rejectRun   = 3
	rejectRunKg = 1
)

// gate remembers the readings refused in a row that lie close to each other.
type gate struct {
	run  int
	last float64 // innovation of the last one, kg
}

// refuse takes in a refused reading and reports whether it is the third alike,
// so that it is to be believed after all.
func (g *gate) refuse(innovation float64) bool {
	if g.run > 0 && math.Abs(innovation-g.last) <= rejectRunKg {
		g.run++
	} else {
		g.run = 1
	}
	g.last = innovation
	if g.run < rejectRun {
		return false
	}
	g.run = 0
	return true
}

// read takes in the morning's reading, y = T + A + k swing + c shape + noise,
// and returns how many standard deviations it lay from what was expected, and
// whether it was used.
func (f *filter) read(kg, shape float64) (z float64, isUsed bool) {
	h := vector{sT: 1, sA: 1, sK: f.swing, sC: shape}
	innovation := kg
	for i, v := range h {
		innovation -= v * f.x[i]
	}
	r := f.noise * square(readingSD)
	ph, s := f.project(h, r)
	z = math.Abs(innovation) / math.Sqrt(s)
	if z > rejectZ {
		if !f.gate.refuse(innovation) {
			return z, false
		}
		f.p[sT][sT] += square(innovation)
		ph, s = f.project(h, r)
		z = math.Abs(innovation) / math.Sqrt(s)
	}
	f.gate.run = 0
	if z > softZ {
		s += s * (z/softZ - 1) // more reading noise, which is part of s
	}
	for i := range nStates {
		f.x[i] += ph[i] * innovation / s
		for j := range nStates {
			f.p[i][j] -= ph[i] * ph[j] / s
		}
	}
	f.noise *= 1 + (square(min(z, noiseZCap))/noiseZ2Average-1)/float64(noiseMemory+f.accepted)
	f.noise = min(max(f.noise, minNoise), maxNoise)
	f.accepted++
	return z, true
}

// project returns P h and the predicted variance h' P h + r of a reading.
func (f *filter) project(h vector, r float64) (ph vector, s float64) {
	s = r
	for i := range nStates {
		for j := range nStates {
			ph[i] += f.p[i][j] * h[j]
		}
		s += h[i] * ph[i]
	}
	return ph, s
}
