package balance

import "math"

// Shape of the water that the menstrual cycle brings, in days since the first
// day of a period; fitted on the virtual cohort. The peak in the first days of
// a period follows Kanellakis S et al., Am J Hum Biol 2023;35:e23951.
const (
	cycleRiseDays = 8
	cyclePeakDays = 1
	cycleFallEnd  = 5
	cycleDays     = 28.5 // to the next period when it is not marked yet
)

// cycleShape returns 0..1 for a morning x days after the last marked period
// start: the tail of that period or the rise towards the next.
func cycleShape(x float64) float64 {
	return max(periodShape(x), periodShape(x-cycleDays))
}

func periodShape(x float64) float64 {
	switch {
	case x <= -cycleRiseDays || x >= cycleFallEnd:
		return 0
	case x < 0:
		return (1 + math.Cos(math.Pi*x/cycleRiseDays)) / 2
	case x <= cyclePeakDays:
		return 1
	}
	return (1 + math.Cos(math.Pi*(x-cyclePeakDays)/(cycleFallEnd-cyclePeakDays))) / 2
}
