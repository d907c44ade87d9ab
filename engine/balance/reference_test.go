package balance

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"example.com/steelyard/engine"
)

// reference is a second, naive implementation of the filter with gonum's
// matrices: dense F, Q and H, the Joseph form, lists instead of running sums.
// It shares no code with the first one but the types of its answer.
type reference struct {
	started          bool
	rate, sd         float64
	trend, m, mSD    float64
	used             int
	refusedDays      []int
	usual, deviation float64
	noise            float64
}

func runReference(in []Input, g Guess, target engine.Target) reference {
	ref := g.Kcal
	if !g.IsTracked {
		ref = 0.94 * g.Kcal
	}
	inRange := func(o engine.Opt) bool { return o.OK && o.V >= 30 && o.V <= 200 }

	var firstRows []int
	for i, d := range in {
		if inRange(d.WeightKg) && len(firstRows) < 3 {
			firstRows = append(firstRows, i)
		}
	}
	out := reference{noise: 1}
	for i, d := range in {
		if d.WeightKg.OK && !inRange(d.WeightKg) {
			out.refusedDays = append(out.refusedDays, i)
		}
	}
	can := len(firstRows) == 3 || len(firstRows) > 0 && len(in)-1-firstRows[0] >= 6
	var t0 float64
	if can {
		var kg []float64
		for _, i := range firstRows {
			kg = append(kg, in[i].WeightKg.V)
		}
		sort.Float64s(kg)
		switch len(kg) {
		case 1:
			t0 = kg[0]
		case 2:
			t0 = (kg[0] + kg[1]) / 2
		default:
			t0 = kg[1]
		}
	}
	wild := map[int]bool{}
	for _, i := range firstRows {
		wild[i] = math.Abs(in[i].WeightKg.V-t0) > 2.5
	}

	periods := false
	for _, d := range in {
		periods = periods || d.IsPeriodStart
	}
	x := mat.NewVecDense(5, nil)
	p := mat.NewDense(5, 5, nil)
	at, s := 0.0, 0.0
	var ratios, kcals []float64 // of the logged ordinary days, in order
	weighted := func(v []float64) (sum, n float64) {
		for i, r := range v {
			w := math.Pow(0.97, float64(len(v)-1-i))
			sum += w * r
			n += w
		}
		return sum, n
	}
	dev := func() float64 {
		sum, n := weighted(ratios)
		return sum / (n + 7)
	}
	usual := func() float64 {
		sum, n := weighted(kcals)
		if n == 0 {
			return ref
		}
		return sum / n
	}
	lastPeriod := -1
	run, last := 0, 0.0
	for i, d := range in {
		if i > 0 {
			y := in[i-1]
			plan, over := usual(), 0.0
			if y.TargetKcal.OK {
				plan, over = y.TargetKcal.V, dev()
			}
			if y.IsRefeed && y.RefeedKcal.OK {
				plan, over = y.RefeedKcal.V, dev()
			}
			intake := plan * (1 + over)
			q := math.Sqrt(0.06*0.06 + math.Pow(0.40*plan/7600, 2))
			if y.IntakeKcal.OK {
				intake, q = y.IntakeKcal.V, 0.06
			}
			dI := intake - ref
			if out.started {
				f := mat.NewDense(5, 5, []float64{
					1 - 25.0/7600, -1.0 / 7600, 0, 0, 0,
					0, 1, 0, 0, 0,
					0, 0, 0.55, 0, 0,
					0, 0, 0, 1, 0,
					0, 0, 0, 0, 1,
				})
				u := mat.NewVecDense(5, []float64{(intake - 0.10*dI - at - 0.72*y.ActivityKcal + 25*t0) / 7600, 0, 0, 0, 0})
				var fx mat.VecDense
				fx.MulVec(f, x)
				x.AddVec(&fx, u)
				va := out.noise * 0.36 * (1 - 0.55*0.55)
				if y.IsRefeed {
					va += 0.35 * 0.35
				}
				if y.IsSalty {
					va += 0.09
				}
				var fp, fpf mat.Dense
				fp.Mul(f, p)
				fpf.Mul(&fp, f.T())
				p.Add(&fpf, mat.NewDiagDense(5, []float64{q * q, 225, va, 0, 0}))
			}
			at += (0.14*dI - at) / 14
			s = 0.45*s + 0.55*dI/1000
			if y.IntakeKcal.OK && !y.IsRefeed {
				kcals = append(kcals, y.IntakeKcal.V)
				if y.TargetKcal.OK && y.TargetKcal.V >= 400 {
					ratios = append(ratios, y.IntakeKcal.V/y.TargetKcal.V-1)
				}
			}
		}
		if d.IsPeriodStart {
			lastPeriod = i
		}
		if can && i == firstRows[0] {
			out.started = true
			msd := g.SDKcal
			if msd <= 0 {
				msd = 0.12 * g.Kcal
			}
			csd := 0.0
			if periods {
				csd = 0.3
			}
			x = mat.NewVecDense(5, []float64{t0, ref, 0, 1.5, 1})
			p = mat.NewDense(5, 5, nil)
			for j, v := range []float64{2, msd, 0.6, 0.55, csd} {
				p.Set(j, j, v*v)
			}
		}
		if !out.started {
			continue
		}
		if d.IsSalty {
			p.Set(2, 2, p.At(2, 2)+0.09)
		}
		if !inRange(d.WeightKg) {
			continue
		}
		if wild[i] {
			out.refusedDays = append(out.refusedDays, i)
			continue
		}
		shape := 0.0
		if lastPeriod >= 0 {
			for _, t := range []float64{float64(i - lastPeriod), float64(i-lastPeriod) - 28.5} {
				switch {
				case t > -8 && t < 0:
					shape = math.Max(shape, 0.5-0.5*math.Cos(math.Pi*(t+8)/8))
				case t >= 0 && t <= 1:
					shape = 1
				case t > 1 && t < 5:
					shape = math.Max(shape, 0.5+0.5*math.Cos(math.Pi*(t-1)/4))
				}
			}
		}
		h := mat.NewVecDense(5, []float64{1, 0, 1, s, shape})
		innov := d.WeightKg.V - mat.Dot(h, x)
		r := out.noise * 0.0625
		total := mat.Inner(h, p, h) + r
		z := math.Abs(innov) / math.Sqrt(total)
		if z > 4.25 {
			if run > 0 && math.Abs(innov-last) <= 1 {
				run++
			} else {
				run = 1
			}
			last = innov
			if run < 3 {
				out.refusedDays = append(out.refusedDays, i)
				continue
			}
			p.Set(0, 0, p.At(0, 0)+innov*innov)
			total = mat.Inner(h, p, h) + r
			z = math.Abs(innov) / math.Sqrt(total)
		}
		run = 0
		if z > 2 {
			extra := total * (z/2 - 1)
			r += extra
			total += extra
		}
		var k mat.VecDense
		k.MulVec(p, h)
		k.ScaleVec(1/total, &k)
		x.AddScaledVec(x, innov, &k)
		var kh, a, ap, apa, kk mat.Dense
		kh.Outer(1, &k, h)
		a.Sub(mat.NewDiagDense(5, []float64{1, 1, 1, 1, 1}), &kh)
		ap.Mul(&a, p)
		apa.Mul(&ap, a.T())
		kk.Outer(r, &k, &k)
		p.Add(&apa, &kk)
		out.noise *= 1 + (math.Pow(math.Min(z, 2.5), 2)/0.97-1)/(20+float64(out.used))
		out.noise = math.Min(math.Max(out.noise, 0.25), 4)
		out.used++
	}
	if !out.started {
		return out
	}
	sort.Ints(out.refusedDays)
	out.usual, out.deviation = usual(), dev()
	ibar := target.IntakeKcal * (1 + out.deviation)
	t := x.AtVec(0)
	meff := x.AtVec(1) + 0.10*(ibar-ref) + at + 0.72*target.ActivityKcal + 25*(t-t0)
	f := 700 / (7600 * t)
	out.rate = f * (meff - ibar)
	out.sd = math.Sqrt(f*f*p.At(1, 1) + math.Pow(0.01*out.rate, 2) + 0.0001)
	out.trend = t
	out.m = (x.AtVec(1) - 0.10*ref + at + 25*(t-t0)) / 0.9
	out.mSD = math.Sqrt(p.At(1, 1)) / 0.9
	return out
}
