package trend

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"example.com/steelyard/engine"
)

// An independent answer: condition the joint normal distribution of all days'
// levels and slopes on the readings, densely, with gonum.
func TestLocalModelsAgainstDenseConditioning(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for trial := range 60 {
		n := 2 + rng.IntN(30)
		y := make([]engine.Opt, n)
		for i := range y {
			if i > 0 && rng.Float64() < 0.6 {
				y[i] = engine.Some(80 + rng.NormFloat64())
			}
		}
		m := LocalLinearTrend{ReadingVar: 0.1 + rng.Float64(), LevelStepVar: 0.3 * rng.Float64(), SlopeStepVar: 0.01 * rng.Float64()}
		start := Trend{Level: 79, Slope: 0.1, LevelVar: 1 + rng.Float64(), SlopeVar: 0.1 + rng.Float64(), Cov: 0.1, OK: true}
		r, ok := m.RunFrom(start, y)
		if !ok {
			t.Fatalf("trial %d: no run", trial)
		}
		want, logLikelihood := dense(m, start, y)
		for i := range y {
			if !sameTrend(r.Smoothed[i], want[i], 1e-9) {
				t.Errorf("trial %d day %d: %+v, want %+v", trial, i, r.Smoothed[i], want[i])
			}
		}
		if !sameTrend(r.Filtered[n-1], want[n-1], 1e-9) || math.Abs(r.LogLikelihood-logLikelihood) > 1e-8 {
			t.Errorf("trial %d: %v, want %v", trial, r.LogLikelihood, logLikelihood)
		}
		// Without a slope it is the local level model.
		flat := LocalLevel{ReadingVar: m.ReadingVar, StepVar: m.LevelStepVar}
		level, _ := flat.RunFrom(Level{Mean: 79, Var: start.LevelVar, OK: true}, y)
		want, logLikelihood = dense(LocalLinearTrend{m.ReadingVar, m.LevelStepVar, 0}, Trend{Level: 79, LevelVar: start.LevelVar}, y)
		for i := range y {
			if s := level.Smoothed[i]; !closeRel(s.Mean, want[i].Level, 1e-9) || math.Abs(s.Var-want[i].LevelVar) > 1e-9 {
				t.Errorf("trial %d day %d: %+v, want %+v", trial, i, s, want[i])
			}
		}
		if math.Abs(level.LogLikelihood-logLikelihood) > 1e-8 {
			t.Errorf("trial %d: %v, want %v", trial, level.LogLikelihood, logLikelihood)
		}
	}
}

func dense(m LocalLinearTrend, start Trend, y []engine.Opt) ([]Trend, float64) {
	n := len(y)
	mean := mat.NewVecDense(2*n, nil)
	cov := mat.NewDense(2*n, 2*n, nil)
	mean.SetVec(0, start.Level)
	mean.SetVec(1, start.Slope)
	cov.Slice(0, 2, 0, 2).(*mat.Dense).Copy(mat.NewDense(2, 2, []float64{start.LevelVar, start.Cov, start.Cov, start.SlopeVar}))
	step := mat.NewDense(2, 2, []float64{1, 1, 0, 1})
	for t := 1; t < n; t++ {
		mean.SetVec(2*t, mean.AtVec(2*t-2)+mean.AtVec(2*t-1))
		mean.SetVec(2*t+1, mean.AtVec(2*t-1))
		left := cov.Slice(2*t, 2*t+2, 0, 2*t).(*mat.Dense)
		left.Mul(step, cov.Slice(2*t-2, 2*t, 0, 2*t))
		cov.Slice(0, 2*t, 2*t, 2*t+2).(*mat.Dense).Copy(left.T())
		var p mat.Dense
		p.Product(step, cov.Slice(2*t-2, 2*t, 2*t-2, 2*t), step.T())
		p.Set(0, 0, p.At(0, 0)+m.LevelStepVar)
		p.Set(1, 1, p.At(1, 1)+m.SlopeStepVar)
		cov.Slice(2*t, 2*t+2, 2*t, 2*t+2).(*mat.Dense).Copy(&p)
	}
	var rows []int
	for t, o := range y {
		if o.OK {
			rows = append(rows, t)
		}
	}
	logLikelihood := 0.0
	if k := len(rows); k > 0 {
		gain, v, d := mat.NewDense(2*n, k, nil), mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
		for a, s := range rows {
			d.SetVec(a, y[s].V-mean.AtVec(2*s))
			for b, u := range rows {
				v.SetSym(a, b, cov.At(2*s, 2*u))
			}
			v.SetSym(a, a, v.At(a, a)+m.ReadingVar)
			for i := range 2 * n {
				gain.Set(i, a, cov.At(i, 2*s))
			}
		}
		var chol mat.Cholesky
		chol.Factorize(v)
		var solved mat.Dense
		chol.SolveTo(&solved, gain.T())
		var down mat.VecDense
		down.MulVec(solved.T(), d)
		mean.AddVec(mean, &down)
		var drop mat.Dense
		drop.Mul(gain, &solved)
		cov.Sub(cov, &drop)
		var z mat.VecDense
		chol.SolveVecTo(&z, d)
		logLikelihood = -0.5 * (float64(k)*math.Log(2*math.Pi) + chol.LogDet() + mat.Dot(d, &z))
	}
	out := make([]Trend, n)
	for t := range out {
		out[t] = Trend{
			Level: mean.AtVec(2 * t), Slope: mean.AtVec(2*t + 1),
			LevelVar: cov.At(2*t, 2*t), SlopeVar: cov.At(2*t+1, 2*t+1), Cov: cov.At(2*t, 2*t+1), OK: true,
		}
	}
	return out, logLikelihood
}
