package balance

import "math"

// pass carries the filter from the morning of day d to the next morning:
//
//	T' = T + (I - 0.10 dI - adapt - 0.72 a - M - 25 (T - T0)) / 7600
//	M' = M, k' = k, c' = c
//	A' = 0.55 A
//
// with I the day's intake and dI its distance from the reference; then the
// adaptation and the water's lag take dI in. Before the filter has started
// only these two and the eater move.
func (f *filter) pass(d Input) {
	kcal, planKcal, isLogged := f.eater.ate(d)
	if f.started {
		f.x[sT] += (kcal - f.spent(kcal, d.ActivityKcal)) / kcalPerKg
		f.x[sA] *= waterCarry
		f.spread(planKcal, isLogged)
		if d.IsRefeed {
			f.p[sA][sA] += square(refeedSD)
		}
		if d.IsSalty {
			f.p[sA][sA] += square(saltySD)
		}
	}
	change := kcal - f.ref
	f.adapt += (adaptShare*change - f.adapt) / adaptDays
	f.swing = swingCarry*f.swing + (1-swingCarry)*change/swingUnitKcal
	f.eater.learn(d)
}

// spent returns the daily expenditure, in tracked kcal, at an intake.
func (f *filter) spent(kcal, activityKcal float64) float64 {
	return f.x[sM] + thermicShare*(kcal-f.ref) + f.adapt + WalkShare*activityKcal + kcalPerKgDay*(f.x[sT]-f.t0)
}

// spread carries the covariance over the same step, P' = F P F' + Q: only T
// takes from another state, and only T, M and A are disturbed.
func (f *filter) spread(planKcal float64, isLogged bool) {
	const keepT, takeM = 1 - kcalPerKgDay/float64(kcalPerKg), 1 / float64(kcalPerKg)
	p := &f.p
	for j := range nStates { // F P
		p[sT][j] = keepT*p[sT][j] - takeM*p[sM][j]
		p[sA][j] *= waterCarry
	}
	for i := range nStates { // (F P) F'
		p[i][sT] = keepT*p[i][sT] - takeM*p[i][sM]
		p[i][sA] *= waterCarry
	}
	q := float64(tissueSD)
	if !isLogged {
		q = math.Hypot(tissueSD, unloggedShare*planKcal/kcalPerKg)
	}
	p[sT][sT] += square(q)
	p[sM][sM] += square(maintenanceSD)
	p[sA][sA] += f.noise * square(waterSD) * (1 - square(waterCarry))
}
