package cohort

import (
	"math"

	"example.com/steelyard/engine"
)

// reading is what a person writes down in the morning: the body's weight with
// all its water, off by the scale, to 0.1 kg, and now and then mistyped.
func reading(bodyKg float64, c *chance) engine.Opt {
	tenths := int(math.Round(10 * (bodyKg + c.waterKg + c.scaleKg)))
	return engine.Some(float64(c.typo.of(tenths)) / 10)
}

// of mistypes a reading in tenths of a kilogram.
func (t typo) of(tenths int) int {
	switch t {
	case tenMore:
		return tenths + 100
	case tenLess:
		return tenths - 100
	case timesTen:
		return 10 * tenths
	case oneMore:
		return tenths + 10
	case swapped: // the digits about the decimal point
		units, last := tenths/10%10, tenths%10
		return tenths + 10*(last-units) + units - last
	}
	return tenths
}
