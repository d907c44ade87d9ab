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

// reading is how a used reading moved the filter. With h = (1, 0, 1, swing,
// shape), innovation v and its variance S:
type reading struct {
	gain         vector // P h / S
	swing, shape float64
	pull         float64 // v / S
	weight       float64 // 1 / S
	z            float64 // |v| / sqrt S
}

// read takes in the morning's weight, y = T + A + k swing + c shape + noise, and
// reports whether it was used; u is how.
func (f *filter) read(kg, shape float64, u *reading) bool {
	u.swing, u.shape = f.swing, shape
	innovation := kg - f.x.t - f.x.a - u.swing*f.x.k - shape*f.x.c
	r := f.noise * square(readingSD)
	ph := f.p.atReading(u.swing, shape)
	s := variance(&ph, u.swing, shape) + r
	u.z = math.Abs(innovation) / math.Sqrt(s)
	if u.z > rejectZ {
		if !f.gate.refuse(innovation) {
			return false
		}
		f.p.tt += square(innovation)
		ph = f.p.atReading(u.swing, shape)
		s = variance(&ph, u.swing, shape) + r
		u.z = math.Abs(innovation) / math.Sqrt(s)
	}
	f.gate.run = 0
	if u.z > softZ {
		s += s * (u.z/softZ - 1) // more reading noise, which is part of s
	}
	u.weight = 1 / s
	u.pull = innovation * u.weight
	u.gain = vector{ph.t * u.weight, ph.m * u.weight, ph.a * u.weight, ph.k * u.weight, ph.c * u.weight}
	f.x.t += ph.t * u.pull
	f.x.m += ph.m * u.pull
	f.x.a += ph.a * u.pull
	f.x.k += ph.k * u.pull
	f.x.c += ph.c * u.pull
	f.p.subtract(&ph, &u.gain)
	f.noise *= 1 + (square(min(u.z, noiseZCap))/noiseZ2Average-1)/float64(noiseMemory+f.accepted)
	f.noise = min(max(f.noise, minNoise), maxNoise)
	f.accepted++
	return true
}

// variance returns h' P h, given P h.
func variance(ph *vector, swing, shape float64) float64 {
	return ph.t + ph.a + swing*ph.k + shape*ph.c
}
