package engine

// Sex as the published equations use it. Stored: never reorder.
type Sex uint8

// Sexes.
const (
	SexUnknown Sex = iota
	Female
	Male
)

// ActivityLevel is the habitual activity class of IOM 2005. Stored: never reorder.
type ActivityLevel uint8

// Activity levels.
const (
	ActivityUnknown ActivityLevel = iota
	Sedentary
	LowActive
	Active
	VeryActive
)

// Condition is a declared state of health that matters to a fat-loss phase;
// conditions are combined in a set. Stored: never reorder.
type Condition uint16

// Conditions. Each one means: refer, and never compute a deficit.
const (
	Pregnant Condition = 1 << iota
	Breastfeeding
	EatingDisorder // past or present
	GlucoseLoweringMedication
	KidneyDisease
	HeartDisease
)

// Has reports whether the set holds c.
func (s Condition) Has(c Condition) bool { return s&c != 0 }

// Profile is what is known of a trainee beside the log. All of it may be unknown.
type Profile struct {
	Sex                  Sex
	BirthDate            OptDay
	HeightCm             Opt // 100..250
	Activity             ActivityLevel
	MaintenanceGuessKcal Opt // the caller's own estimate in kcal/d, tracked; overrides the equations
	Conditions           Condition
}
