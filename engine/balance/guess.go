package balance

// Guess is what is believed of maintenance before any reading.
type Guess struct {
	Kcal      float64 // kcal/d
	SDKcal    float64 // one standard deviation; 0 or less means the usual 12 %
	IsTracked bool    // the number is already in the trainee's own logged kcal
}

const (
	// trackedShare of true maintenance shows up in the log on average: 6 %
	// goes unlogged. Fitted on the virtual cohort.
	trackedShare = 0.94
	// guessSDShare is the prior's SD as a share of the guess. Fitted on the
	// virtual cohort.
	guessSDShare = 0.12
)

// TrackedKcal returns the guess in logged kcal/d. The filter takes it as the
// prior mean of maintenance and as the reference intake.
func (g Guess) TrackedKcal() float64 {
	if g.IsTracked {
		return g.Kcal
	}
	return trackedShare * g.Kcal
}

func (g Guess) sd() float64 {
	if g.SDKcal > 0 {
		return g.SDKcal
	}
	return guessSDShare * g.Kcal
}

// isUsable is false for a guess that no person's maintenance can be, NaN included.
func (g Guess) isUsable() bool {
	return g.Kcal > 0 && g.Kcal <= maxDayKcal && g.sd() <= maxDayKcal
}
