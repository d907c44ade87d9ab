package balance

// filter is the running state. Everything has a fixed size: a day costs no
// allocation.
type filter struct {
	x vector
	p covariance

	frame
	eater eater

	noise       float64 // how noisy this trainee's scale is: factor on two variances
	accepted    int     // readings used
	gate        gate
	sincePeriod float64 // days since the last marked period start
	started     bool
}

// frame is what the states refer to, and what is known of a day beside them.
type frame struct {
	t0    float64 // the weight the maintenance state refers to, kg
	ref   float64 // the intake it refers to, kcal/d
	adapt float64 // adaptation of expenditure to the intake change, kcal/d
	swing float64 // the intake change that water has answered to, 1000 kcal/d
}

// Energy balance. The first four follow the published dynamic model of body
// weight (Hall KD et al., Lancet 2011;378:826-837, and its linear form in Hall
// KD, Chow CC, Am J Clin Nutr 2011;94:66-74).
const (
	kcalPerKgDay = 25   // expenditure per kg of weight change
	thermicShare = 0.10 // of an intake change is spent on digesting it
	adaptShare   = 0.14 // of an intake change is what expenditure follows it by
	adaptDays    = 14   // time constant of that
	kcalPerKg    = 7600 // of weight change; between the densities of fat and of mixed tissue
)

// WalkShare of prescribed walking shows up in the energy balance. Fitted on the
// virtual cohort.
const WalkShare = 0.72

// Noise and water; fitted on the virtual cohort, the first three raised for
// real people, of whom the intervals then covered what they say.
const (
	tissueSD       = 0.06 // kg a day
	unloggedShare  = 0.40 // SD of a day's unlogged intake as a share of the plan's
	maintenanceSD  = 10   // kcal/d a day
	waterCarry     = 0.55 // of the water term is left the next day
	waterSD        = 0.60 // kg, stationary
	readingSD      = 0.25 // kg
	swingCarry     = 0.45 // of the water's lag behind intake is left the next day
	refeedSD       = 0.35 // kg of water on the morning after a refeed
	saltySD        = 0.30 // kg of water on a salty day and the next
	startTissueSD  = 2.0  // kg
	startSwing     = 1.5  // kg per 1000 kcal/d
	startSwingSD   = 0.55
	startCycle     = 1.0 // kg
	startCycleSD   = 0.3
	swingUnitKcal  = 1000
	minNoise       = 0.25
	maxNoise       = 4
	noiseMemory    = 20   // readings that the noise level's start is worth
	noiseZCap      = 2.5  // deviations count no further than this
	noiseZ2Average = 0.97 // mean of the capped square
)

func square(v float64) float64 { return v * v }
