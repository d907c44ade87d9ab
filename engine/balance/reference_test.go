package balance

import (
	"errors"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"example.com/steelyard/engine"
)

// reference is a second, naive implementation of the estimator with gonum's
// matrices: dense F, Q and H, the Joseph form, lists instead of running sums,
// the smoother of Rauch, Tung and Striebel with its inverse. It shares no code
// with the first one but the types of a log and of an answer.
type reference struct {
	in  []Input
	g   Guess
	ref float64
	t0  float64

	started     bool
	hasPeriods  bool
	x           *mat.VecDense
	p           *mat.Dense
	at, s       float64
	ratios      []float64 // of the logged ordinary days, in order
	kcals       []float64
	lastPeriod  int
	noise       float64
	used        int
	refusedDays []int

	days []referenceDay
}

// referenceDay is the filter about one morning's reading.
type referenceDay struct {
	started        bool
	predX, x       *mat.VecDense // before and after the reading; what a mark or a new level adds is before
	predP, p       *mat.Dense
	at, s          float64
	kcal, activity float64 // expected intake at the day's target
	used, refused  int
}

// referenceState is the outputs of a day.
type referenceState struct {
	trend, trendSD, scale, scaleSD, m, mSD, rate, sd float64
}

var transition = mat.NewDense(5, 5, []float64{
	1 - 25.0/7600, -1.0 / 7600, 0, 0, 0,
	0, 1, 0, 0, 0,
	0, 0, 0.55, 0, 0,
	0, 0, 0, 1, 0,
	0, 0, 0, 0, 1,
})

func inRange(o engine.Opt) bool { return o.OK && o.V >= 30 && o.V <= 200 }

func runReference(in []Input, g Guess) *reference {
	r := &reference{in: in, g: g, ref: g.Kcal, noise: 1, lastPeriod: -1000}
	if !g.IsTracked {
		r.ref = 0.94 * g.Kcal
	}
	var firstRows []int
	for i, d := range in {
		if inRange(d.WeightKg) && len(firstRows) < 3 {
			firstRows = append(firstRows, i)
		}
		r.hasPeriods = r.hasPeriods || d.IsPeriodStart
	}
	can := len(firstRows) == 3 || len(firstRows) > 0 && len(in)-1-firstRows[0] >= 6
	if can {
		var kg []float64
		for _, i := range firstRows {
			kg = append(kg, in[i].WeightKg.V)
		}
		sort.Float64s(kg)
		switch len(kg) {
		case 1:
			r.t0 = kg[0]
		case 2:
			r.t0 = (kg[0] + kg[1]) / 2
		default:
			r.t0 = kg[1]
		}
	}
	wild := map[int]bool{}
	for _, i := range firstRows {
		wild[i] = math.Abs(in[i].WeightKg.V-r.t0) > 2.5
	}

	run, last := 0, 0.0
	for i, d := range in {
		if i > 0 {
			r.advance(in[i-1])
		}
		if d.IsPeriodStart {
			r.lastPeriod = i
		}
		if can && i == firstRows[0] {
			r.started = true
			msd := g.SDKcal
			if msd <= 0 {
				msd = 0.12 * g.Kcal
			}
			csd := 0.0
			if r.hasPeriods {
				csd = 0.3
			}
			r.x = mat.NewVecDense(5, []float64{r.t0, r.ref, 0, 1.5, 1})
			r.p = mat.NewDense(5, 5, nil)
			for j, v := range []float64{2, msd, 0.6, 0.55, csd} {
				r.p.Set(j, j, v*v)
			}
		}
		if d.WeightKg.OK && !inRange(d.WeightKg) {
			r.refusedDays = append(r.refusedDays, i)
		}
		if !r.started {
			r.days = append(r.days, referenceDay{refused: len(r.refusedDays)})
			continue
		}
		if d.IsSalty {
			r.p.Set(2, 2, r.p.At(2, 2)+0.09)
		}
		day := referenceDay{started: true, predX: mat.VecDenseCopyOf(r.x), predP: mat.DenseCopyOf(r.p)}
		if inRange(d.WeightKg) && wild[i] {
			r.refusedDays = append(r.refusedDays, i)
		} else if inRange(d.WeightKg) {
			h := r.reading(i)
			innov := d.WeightKg.V - mat.Dot(h, r.x)
			rr := r.noise * 0.0625
			total := mat.Inner(h, r.p, h) + rr
			z := math.Abs(innov) / math.Sqrt(total)
			accept := true
			if z > 4.25 {
				if run > 0 && math.Abs(innov-last) <= 1 {
					run++
				} else {
					run = 1
				}
				last = innov
				if accept = run >= 3; accept {
					r.p.Set(0, 0, r.p.At(0, 0)+innov*innov)
					day.predP = mat.DenseCopyOf(r.p)
					total = mat.Inner(h, r.p, h) + rr
					z = math.Abs(innov) / math.Sqrt(total)
				} else {
					r.refusedDays = append(r.refusedDays, i)
				}
			}
			if accept {
				run = 0
				if z > 2 {
					extra := total * (z/2 - 1)
					rr += extra
					total += extra
				}
				r.update(h, innov, rr, total, z)
			}
		}
		day.x, day.p = mat.VecDenseCopyOf(r.x), mat.DenseCopyOf(r.p)
		day.at, day.s, day.activity = r.at, r.s, d.ActivityKcal
		day.kcal = r.usual()
		if d.TargetKcal.OK {
			day.kcal = d.TargetKcal.V * (1 + r.deviation())
		}
		day.used, day.refused = r.used, len(r.refusedDays)
		r.days = append(r.days, day)
	}
	return r
}

// advance goes from one morning to the next, over a day as it was logged.
func (r *reference) advance(y Input) {
	plan, over := r.usual(), 0.0
	if y.TargetKcal.OK {
		plan, over = y.TargetKcal.V, r.deviation()
	}
	if y.IsRefeed && y.RefeedKcal.OK {
		plan, over = y.RefeedKcal.V, r.deviation()
	}
	intake := plan * (1 + over)
	q := math.Sqrt(0.06*0.06 + math.Pow(0.40*plan/7600, 2))
	if y.IntakeKcal.OK {
		intake, q = y.IntakeKcal.V, 0.06
	}
	dI := intake - r.ref
	if r.started {
		u := mat.NewVecDense(5, []float64{(intake - 0.10*dI - r.at - 0.72*y.ActivityKcal + 25*r.t0) / 7600, 0, 0, 0, 0})
		var fx mat.VecDense
		fx.MulVec(transition, r.x)
		r.x.AddVec(&fx, u)
		va := r.noise * 0.36 * (1 - 0.55*0.55)
		if y.IsRefeed {
			va += 0.35 * 0.35
		}
		if y.IsSalty {
			va += 0.09
		}
		var fp, fpf mat.Dense
		fp.Mul(transition, r.p)
		fpf.Mul(&fp, transition.T())
		r.p.Add(&fpf, mat.NewDiagDense(5, []float64{q * q, 100, va, 0, 0}))
	}
	r.at += (0.14*dI - r.at) / 14
	r.s = 0.45*r.s + 0.55*dI/1000
	if y.IntakeKcal.OK && !y.IsRefeed {
		r.kcals = append(r.kcals, y.IntakeKcal.V)
		if y.TargetKcal.OK && y.TargetKcal.V >= 400 {
			r.ratios = append(r.ratios, y.IntakeKcal.V/y.TargetKcal.V-1)
		}
	}
}

// update takes in a reading in the Joseph form.
func (r *reference) update(h *mat.VecDense, innov, rr, total, z float64) {
	var k mat.VecDense
	k.MulVec(r.p, h)
	k.ScaleVec(1/total, &k)
	r.x.AddScaledVec(r.x, innov, &k)
	var kh, a, ap, apa, kk mat.Dense
	kh.Outer(1, &k, h)
	a.Sub(mat.NewDiagDense(5, []float64{1, 1, 1, 1, 1}), &kh)
	ap.Mul(&a, r.p)
	apa.Mul(&ap, a.T())
	kk.Outer(rr, &k, &k)
	r.p.Add(&apa, &kk)
	r.noise *= 1 + (math.Pow(math.Min(z, 2.5), 2)/0.97-1)/(20+float64(r.used))
	r.noise = math.Min(math.Max(r.noise, 0.25), 4)
	r.used++
}

// reading is what a weight of row i measures; i may lie after the last row.
func (r *reference) reading(i int) *mat.VecDense {
	shape := 0.0
	for _, t := range []float64{float64(i - r.lastPeriod), float64(i-r.lastPeriod) - 28.5} {
		switch {
		case t > -8 && t < 0:
			shape = math.Max(shape, 0.5-0.5*math.Cos(math.Pi*(t+8)/8))
		case t >= 0 && t <= 1:
			shape = 1
		case t > 1 && t < 5:
			shape = math.Max(shape, 0.5+0.5*math.Cos(math.Pi*(t-1)/4))
		}
	}
	return mat.NewVecDense(5, []float64{1, 0, 1, r.s, shape})
}

// fading sums a list with weights 1, 0.97, 0.97^2... from its end.
func fading(list []float64) (sum, n float64) {
	w := 1.0
	for i := len(list) - 1; i >= 0; i-- {
		sum += w * list[i]
		n += w
		w *= 0.97
	}
	return sum, n
}

func (r *reference) deviation() float64 {
	sum, n := fading(r.ratios)
	return sum / (n + 7)
}

func (r *reference) usual() float64 {
	sum, n := fading(r.kcals)
	if n == 0 {
		return r.ref
	}
	return sum / n
}

// state works out the outputs from means and covariance on a day.
func (r *reference) state(x mat.Vector, p mat.Matrix, at, s, kcal, activity float64) referenceState {
	t := x.AtVec(0)
	f := 700 / (7600 * math.Max(t, 30))
	meff := x.AtVec(1) + 0.10*(kcal-r.ref) + at + 0.72*activity + 25*(t-r.t0)
	h := mat.NewVecDense(5, []float64{1, 0, 0, s, 0})
	o := referenceState{
		trend: t, trendSD: math.Sqrt(p.At(0, 0)),
		scale: mat.Dot(h, x), scaleSD: math.Sqrt(math.Max(mat.Inner(h, p, h), 0)),
		m:   (x.AtVec(1) - 0.10*r.ref + at + 25*(t-r.t0)) / 0.9,
		mSD: math.Sqrt(p.At(1, 1)) / 0.9,
	}
	o.rate = f * (meff - kcal)
	o.sd = math.Sqrt(f*f*p.At(1, 1) + math.Pow(0.01*o.rate, 2) + 0.0001)
	return o
}

// estimate judges a prescription on the last morning.
func (r *reference) estimate(target engine.Target) referenceState {
	return r.state(r.x, r.p, r.at, r.s, target.IntakeKcal*(1+r.deviation()), target.ActivityKcal)
}

// filtered are the outputs of each day, at its own target.
func (r *reference) filtered() []referenceState {
	out := make([]referenceState, len(r.days))
	for i, d := range r.days {
		if d.started {
			out[i] = r.state(d.x, d.p, d.at, d.s, d.kcal, d.activity)
		}
	}
	return out
}

// smoothed are the same with hindsight. The amplitude of the cycle has no
// variance without marked periods, so that the predicted covariance has no
// inverse then; it is left out, as it never moves.
func (r *reference) smoothed() []referenceState {
	n := 5
	if !r.hasPeriods {
		n = 4
	}
	part := func(m *mat.Dense) *mat.Dense { return m.Slice(0, n, 0, n).(*mat.Dense) }
	f := part(transition)
	out := make([]referenceState, len(r.days))
	var x *mat.VecDense
	var p *mat.Dense
	for i := len(r.days) - 1; i >= 0 && r.days[i].started; i-- {
		d := r.days[i]
		if i == len(r.days)-1 {
			x, p = mat.VecDenseCopyOf(d.x), mat.DenseCopyOf(d.p)
		} else {
			// C = P F' Pp^-1; x = xf + C (xs - xp); P = Pf + C (Ps - Pp) C'
			next := r.days[i+1]
			var inverse, fp, c, cd, cdc mat.Dense
			if err := inverse.Inverse(part(next.predP)); err != nil {
				if !errors.As(err, new(mat.Condition)) {
					panic(err)
				}
			}
			fp.Mul(part(d.p), f.T())
			c.Mul(&fp, &inverse)
			var dx, cdx mat.VecDense
			dx.SubVec(x.SliceVec(0, n), next.predX.SliceVec(0, n))
			cdx.MulVec(&c, &dx)
			x = mat.VecDenseCopyOf(d.x)
			x.SliceVec(0, n).(*mat.VecDense).AddVec(d.x.SliceVec(0, n), &cdx)
			var dp mat.Dense
			dp.Sub(part(p), part(next.predP))
			cd.Mul(&c, &dp)
			cdc.Mul(&cd, c.T())
			p = mat.DenseCopyOf(d.p)
			part(p).Add(part(d.p), &cdc)
		}
		out[i] = r.state(x, p, d.at, d.s, d.kcal, d.activity)
	}
	return out
}

// forecast goes on after the last morning. It moves the reference: ask it last.
func (r *reference) forecast(target engine.Target, days int) []ForecastWeight {
	r.p.Set(1, 1, r.p.At(1, 1)+200*200)
	out := make([]ForecastWeight, days)
	for i := range out {
		r.advance(Input{TargetKcal: engine.Some(target.IntakeKcal), ActivityKcal: target.ActivityKcal})
		o := r.state(r.x, r.p, r.at, r.s, 0, 0)
		h := r.reading(len(r.in) + i)
		out[i] = ForecastWeight{
			LevelKg: o.scale, LevelSDKg: o.scaleSD,
			ReadingKg: mat.Dot(h, r.x), ReadingSDKg: math.Sqrt(mat.Inner(h, r.p, h) + r.noise*0.0625),
		}
	}
	return out
}
