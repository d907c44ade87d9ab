package engine

import "math"

// MassUnit is the unit a mass was given in.
type MassUnit uint8

// Mass units. The zero value is no unit and never valid.
const (
	MassUnitUnspecified MassUnit = iota
	Kilogram
	Pound
	Stone
)

// Exact by definition: the international avoirdupois pound (International
// Yard and Pound agreement, 1959); a stone is 14 lb; the thermochemical
// calorie is 4.184 J.
const (
	kgPerPound = 0.45359237
	kgPerStone = 14 * kgPerPound
	kJPerKcal  = 4.184
)

// Mass is a mass as it was given, so that a log can be shown as it was kept.
type Mass struct {
	Value float64
	Unit  MassUnit
}

// Kg returns a mass given in kilograms.
func Kg(v float64) Mass { return Mass{Value: v, Unit: Kilogram} }

// Kg returns the mass in kilograms, and unknown when the unit is not valid or
// the value is not a finite number.
func (m Mass) Kg() Opt {
	switch m.Unit {
	case Kilogram:
		return finite(m.Value)
	case Pound:
		return finite(m.Value * kgPerPound)
	case Stone:
		return finite(m.Value * kgPerStone)
	}
	return Opt{}
}

// EnergyUnit is the unit an energy was given in.
type EnergyUnit uint8

// Energy units. The zero value is no unit and never valid.
const (
	EnergyUnitUnspecified EnergyUnit = iota
	Kilocalorie
	Kilojoule
)

// Energy is an energy as it was given.
type Energy struct {
	Value float64
	Unit  EnergyUnit
}

// Kcal returns an energy given in kilocalories.
func Kcal(v float64) Energy { return Energy{Value: v, Unit: Kilocalorie} }

// Kcal returns the energy in kilocalories, and unknown when the unit is not
// valid or the value is not a finite number.
func (e Energy) Kcal() Opt {
	switch e.Unit {
	case Kilocalorie:
		return finite(e.Value)
	case Kilojoule:
		return finite(e.Value / kJPerKcal)
	}
	return Opt{}
}

// finite keeps a NaN or an infinity from becoming a known number.
func finite(v float64) Opt {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Opt{}
	}
	return Some(v)
}
