package rows

import (
	"fmt"
	"slices"

	"example.com/steelyard/engine"
)

// massRow is an engine.Mass in JSON.
type massRow struct {
	Value float64  `json:"v"`
	Unit  massUnit `json:"u,omitempty"`
}

// energyRow is an engine.Energy in JSON.
type energyRow struct {
	Value float64    `json:"v"`
	Unit  energyUnit `json:"u,omitempty"`
}

func (r massRow) mass() engine.Mass {
	return engine.Mass{Value: r.Value, Unit: engine.MassUnit(r.Unit)}
}

func (r energyRow) energy() engine.Energy {
	return engine.Energy{Value: r.Value, Unit: engine.EnergyUnit(r.Unit)}
}

// In JSON units are their symbols, so that the numbers of the engine's
// constants are free to change. No unit is no symbol.
var (
	massSymbols   = []string{engine.Kilogram: "kg", engine.Pound: "lb", engine.Stone: "st"}
	energySymbols = []string{engine.Kilocalorie: "kcal", engine.Kilojoule: "kJ"}
)

type massUnit engine.MassUnit

// UnmarshalText reads a symbol.
func (u *massUnit) UnmarshalText(text []byte) error {
	n, err := unit(massSymbols, string(text))
	*u = massUnit(n)
	return err
}

type energyUnit engine.EnergyUnit

// UnmarshalText reads a symbol.
func (u *energyUnit) UnmarshalText(text []byte) error {
	n, err := unit(energySymbols, string(text))
	*u = energyUnit(n)
	return err
}

func unit(symbols []string, text string) (int, error) {
	n := slices.Index(symbols, text)
	if n < 0 {
		return 0, fmt.Errorf("unknown unit %q", text)
	}
	return n, nil
}

// optional is an engine.Opt in JSON: left out when unknown.
func optional(o engine.Opt) *float64 {
	if !o.OK {
		return nil
	}
	return &o.V
}

func opt(v *float64) engine.Opt {
	if v == nil {
		return engine.Opt{}
	}
	return engine.Some(*v)
}
