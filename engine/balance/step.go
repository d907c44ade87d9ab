package balance

// pass carries the filter from the morning of day d to the next morning:
//
//	T' = T + (I - 0.10 dI - adapt - 0.72 a - M - 25 (T - T0)) / 7600
//	M' = M, k' = k, c' = c
//	A' = 0.55 A
//
// with I the day's intake and dI its distance from the reference; then the
// adaptation and the water's lag take dI in. Before the filter has started
// only these two and the eater move.
func (f *filter) pass(d *Input) {
	kcal, planKcal, isLogged := f.eater.ate(d)
	if f.started {
		f.x.t += (kcal - f.spent(f.x.t, f.x.m, kcal, d.ActivityKcal)) / kcalPerKg
		f.x.a *= waterCarry
		f.spread(planKcal, isLogged)
		if d.IsRefeed {
			f.p.aa += square(refeedSD)
		}
		if d.IsSalty {
			f.p.aa += square(saltySD)
		}
	}
	change := kcal - f.ref
	f.adapt += (adaptShare*change - f.adapt) / adaptDays
	f.swing = swingCarry*f.swing + (1-swingCarry)*change/swingUnitKcal
	f.sincePeriod++
	f.eater.learn(d)
}

// spent returns the daily expenditure, in tracked kcal, of a tissue weight and
// a maintenance state at an intake.
func (c *frame) spent(t, m, kcal, activityKcal float64) float64 {
	return m + thermicShare*(kcal-c.ref) + c.adapt + WalkShare*activityKcal + kcalPerKgDay*(t-c.t0)
}

// spread carries the covariance over the same step, P' = F P F' + Q: only T
// takes from another state, and only T, M and A are disturbed.
func (f *filter) spread(planKcal float64, isLogged bool) {
	f.p.overNight()
	q := square(tissueSD)
	if !isLogged {
		q += square(unloggedShare * planKcal / kcalPerKg)
	}
	f.p.tt += q
	f.p.mm += square(maintenanceSD)
	f.p.aa += f.noise * square(waterSD) * (1 - square(waterCarry))
}
