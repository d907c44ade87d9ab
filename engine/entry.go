package engine

// Kind says which fact an entry holds. Its numbers are stored: never reorder.
type Kind uint8

// Kinds of entries.
const (
	KindUnspecified Kind = iota
	KindWeighIn
	KindIntake
	KindActivity
	KindLiftSet
	KindTape
	KindBodyFat
	KindCheckIn
	KindPhotoSet
	KindMark
)

var kindNames = [...]string{"unspecified", "weigh-in", "intake", "activity", "lift-set", "tape", "body-fat", "check-in", "photo-set", "mark"}

// String returns the word used in entry ids: "weigh-in", "intake", ...
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return kindNames[0]
}

// Entry is one dated fact in the logbook. (Day, Kind, Key) is its natural key:
// an entry sent again with the same natural key is the same entry, replaced.
type Entry struct {
	Day  Day
	Key  string // told apart within the day and kind; "1" when the caller gave none
	Note string
	Fact Fact
}

// ID is an entry's natural key inside one trainee's logbook.
type ID struct {
	Day  Day
	Kind Kind
	Key  string
}

// ID returns the natural key.
func (e Entry) ID() ID { return ID{Day: e.Day, Kind: e.Fact.Kind(), Key: e.Key} }

// Fact is the content of an entry: one of the types below, by value.
type Fact interface{ Kind() Kind }

// WeighIn is one scale reading.
type WeighIn struct {
	Weight      Mass
	MinuteOfDay Opt // local minutes after midnight, 0..1439; the earliest reading of a day counts
}

// Intake is energy eaten: a whole day or one meal. Entries of a day are summed.
type Intake struct {
	Energy    Energy
	ProteinG  Opt
	CarbG     Opt
	FatG      Opt
	SodiumMg  Opt
	IsPartial bool // the day's log is known to be incomplete: the day counts as not logged
}

// Activity is movement of a day. Steps of several entries are not added (two
// devices count the same steps): the largest counts. Energy and minutes are added.
type Activity struct {
	Steps   Opt
	Energy  Energy // net of rest; zero unit means unknown
	Minutes Opt
}

// LiftSet is one set of a resistance exercise.
type LiftSet struct {
	Lift          string // the caller's stable name, e.g. "back-squat"
	Load          Mass
	Reps          int
	RepsInReserve Opt
}

// Tape is a set of circumference measurements in cm.
type Tape struct {
	WaistCm, AbdomenCm, HipCm, NeckCm, ChestCm, ThighCm, UpperArmCm Opt
}

// BodyFatMethod says how a body-fat percentage was obtained. Stored: never reorder.
type BodyFatMethod uint8

// Methods of a body-fat reading.
const (
	BodyFatMethodUnspecified BodyFatMethod = iota
	BodyFatDXA
	BodyFatCalipers
	BodyFatImpedance
	BodyFatTape
	BodyFatVisual
)

// BodyFat is one body-fat reading.
type BodyFat struct {
	Pct    float64
	Method BodyFatMethod
}

// CheckIn is the weekly self-report; scores run 1 (worst) to 5 (best), 0 = not answered.
// Hunger 5 means "not hungry": higher is always easier.
type CheckIn struct {
	HungerEase, Energy, Sleep, TrainingDrive int
	WasSlog                                  Answer
}

// Answer is yes, no or not answered.
type Answer uint8

// Answers.
const (
	Unanswered Answer = iota
	Yes
	No
)

// PhotoSet says that pictures were taken. The reference is the caller's; the picture never comes here.
type PhotoSet struct{ Reference string }

// MarkKind says why a day reads differently. Stored: never reorder; at most 16.
type MarkKind uint8

// Marks. The last three are warning signs: they stop a deficit.
const (
	MarkUnspecified MarkKind = iota
	MarkRefeed
	MarkSaltyMeal
	MarkIllness
	MarkTravel
	MarkPeriodStart
	MarkFainting
	MarkPalpitations
	MarkMissedPeriod
)

// Mark flags a day.
type Mark struct {
	Of         MarkKind
	TargetKcal Opt // a refeed's own intake target, for that day only
}

// Kind implements Fact.
func (WeighIn) Kind() Kind { return KindWeighIn }

// Kind implements Fact.
func (Intake) Kind() Kind { return KindIntake }

// Kind implements Fact.
func (Activity) Kind() Kind { return KindActivity }

// Kind implements Fact.
func (LiftSet) Kind() Kind { return KindLiftSet }

// Kind implements Fact.
func (Tape) Kind() Kind { return KindTape }

// Kind implements Fact.
func (BodyFat) Kind() Kind { return KindBodyFat }

// Kind implements Fact.
func (CheckIn) Kind() Kind { return KindCheckIn }

// Kind implements Fact.
func (PhotoSet) Kind() Kind { return KindPhotoSet }

// Kind implements Fact.
func (Mark) Kind() Kind { return KindMark }
