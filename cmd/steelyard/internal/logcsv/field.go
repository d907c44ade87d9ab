package logcsv

import (
	"strings"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// fieldColumns maps a field of an entry to its column where the two differ and
// the unit does not matter. Fields of the same name need no line.
var fieldColumns = map[string]string{
	"activity.minutes": "activity_minutes",
	"body_fat.method":  "body_fat_method",
	"mark.of":          "marks",
	"mark.target_kcal": "refeed_kcal",
}

// columnOf returns the column that a field of an entry was read from; the field
// itself when it came from none.
func columnOf(e *steelyardv1.Entry, field string) string {
	field = strings.TrimPrefix(field, "entry.")
	switch parent, _, _ := strings.Cut(strings.TrimPrefix(field, factPrefix(e)), "."); {
	case parent == "weight" && e.GetWeighIn() != nil:
		return "weight_" + massSuffix(e.GetWeighIn().GetWeight())
	case parent == "load" && e.GetLiftSet() != nil:
		return "load_" + massSuffix(e.GetLiftSet().GetLoad())
	case parent == "energy" && e.GetIntake() != nil:
		return "intake_" + energySuffix(e.GetIntake().GetEnergy())
	case parent == "energy" && e.GetActivity() != nil:
		return "activity_" + energySuffix(e.GetActivity().GetEnergy())
	}
	if c, ok := fieldColumns[field]; ok {
		return c
	}
	leaf := field[strings.LastIndex(field, ".")+1:]
	if _, ok := columnNamed(leaf); ok {
		return leaf
	}
	return field
}

// factPrefix returns the field name of the entry's fact with its dot.
func factPrefix(e *steelyardv1.Entry) string {
	m := e.ProtoReflect()
	if fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("fact")); fd != nil {
		return string(fd.Name()) + "."
	}
	return ""
}

func massSuffix(m *steelyardv1.Mass) string {
	switch m.GetUnit() {
	case steelyardv1.MassUnit_MASS_UNIT_POUND:
		return "lb"
	case steelyardv1.MassUnit_MASS_UNIT_STONE:
		return "st"
	}
	return "kg"
}

func energySuffix(e *steelyardv1.Energy) string {
	if e.GetUnit() == steelyardv1.EnergyUnit_ENERGY_UNIT_KILOJOULE {
		return "kj"
	}
	return "kcal"
}
