package rows

import (
	"encoding/json"
	"fmt"

	"example.com/steelyard/engine"
)

// How facts were written before they were packed. Rows are packed when they are
// written again, so that some stay as they are for good.

type weighInRow struct {
	Weight massRow  `json:"weight"`
	Minute *float64 `json:"minute,omitempty"`
}

type intakeRow struct {
	Energy   energyRow `json:"energy"`
	ProteinG *float64  `json:"protein_g,omitempty"`
	CarbG    *float64  `json:"carb_g,omitempty"`
	FatG     *float64  `json:"fat_g,omitempty"`
	SodiumMg *float64  `json:"sodium_mg,omitempty"`
	Partial  bool      `json:"partial,omitempty"`
}

type activityRow struct {
	Steps   *float64   `json:"steps,omitempty"`
	Energy  *energyRow `json:"energy,omitempty"`
	Minutes *float64   `json:"minutes,omitempty"`
}

type liftSetRow struct {
	Lift    string   `json:"lift"`
	Load    massRow  `json:"load"`
	Reps    int      `json:"reps"`
	Reserve *float64 `json:"reserve,omitempty"`
}

type tapeRow struct {
	Waist    *float64 `json:"waist_cm,omitempty"`
	Abdomen  *float64 `json:"abdomen_cm,omitempty"`
	Hip      *float64 `json:"hip_cm,omitempty"`
	Neck     *float64 `json:"neck_cm,omitempty"`
	Chest    *float64 `json:"chest_cm,omitempty"`
	Thigh    *float64 `json:"thigh_cm,omitempty"`
	UpperArm *float64 `json:"upper_arm_cm,omitempty"`
}

type bodyFatRow struct {
	Pct    float64              `json:"pct"`
	Method engine.BodyFatMethod `json:"method,omitempty"`
}

type checkInRow struct {
	HungerEase    int           `json:"hunger_ease,omitempty"`
	Energy        int           `json:"energy,omitempty"`
	Sleep         int           `json:"sleep,omitempty"`
	TrainingDrive int           `json:"training_drive,omitempty"`
	WasSlog       engine.Answer `json:"was_slog,omitempty"`
}

type photoSetRow struct {
	Reference string `json:"reference"`
}

type markRow struct {
	Of         engine.MarkKind `json:"of"`
	TargetKcal *float64        `json:"target_kcal,omitempty"`
}

// decodeFactJSON reads a fact of that kind.
func decodeFactJSON(k engine.Kind, text []byte) (engine.Fact, error) {
	switch k {
	case engine.KindWeighIn:
		return decode(text, weighInRow.fact)
	case engine.KindIntake:
		return decode(text, intakeRow.fact)
	case engine.KindActivity:
		return decode(text, activityRow.fact)
	case engine.KindLiftSet:
		return decode(text, liftSetRow.fact)
	case engine.KindTape:
		return decode(text, tapeRow.fact)
	case engine.KindBodyFat:
		return decode(text, bodyFatRow.fact)
	case engine.KindCheckIn:
		return decode(text, checkInRow.fact)
	case engine.KindPhotoSet:
		return decode(text, photoSetRow.fact)
	case engine.KindMark:
		return decode(text, markRow.fact)
	}
	return nil, fmt.Errorf("no row for facts of kind %d", k)
}

func (r weighInRow) fact() engine.WeighIn {
	return engine.WeighIn{Weight: r.Weight.mass(), MinuteOfDay: opt(r.Minute)}
}

func (r intakeRow) fact() engine.Intake {
	return engine.Intake{
		Energy: r.Energy.energy(), ProteinG: opt(r.ProteinG), CarbG: opt(r.CarbG), FatG: opt(r.FatG),
		SodiumMg: opt(r.SodiumMg), IsPartial: r.Partial,
	}
}

func (r activityRow) fact() engine.Activity {
	a := engine.Activity{Steps: opt(r.Steps), Minutes: opt(r.Minutes)}
	if r.Energy != nil {
		a.Energy = r.Energy.energy()
	}
	return a
}

func (r liftSetRow) fact() engine.LiftSet {
	return engine.LiftSet{Lift: r.Lift, Load: r.Load.mass(), Reps: r.Reps, RepsInReserve: opt(r.Reserve)}
}

func (r tapeRow) fact() engine.Tape {
	return engine.Tape{
		WaistCm: opt(r.Waist), AbdomenCm: opt(r.Abdomen), HipCm: opt(r.Hip), NeckCm: opt(r.Neck),
		ChestCm: opt(r.Chest), ThighCm: opt(r.Thigh), UpperArmCm: opt(r.UpperArm),
	}
}

func (r bodyFatRow) fact() engine.BodyFat { return engine.BodyFat(r) }

func (r checkInRow) fact() engine.CheckIn { return engine.CheckIn(r) }

func (r photoSetRow) fact() engine.PhotoSet { return engine.PhotoSet(r) }

func (r markRow) fact() engine.Mark {
	return engine.Mark{Of: r.Of, TargetKcal: opt(r.TargetKcal)}
}

func decode[R any, F engine.Fact](text []byte, fact func(R) F) (engine.Fact, error) {
	var row R
	if err := json.Unmarshal(text, &row); err != nil {
		return nil, err
	}
	return fact(row), nil
}
