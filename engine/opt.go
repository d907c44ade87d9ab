package engine

// Opt is a number that may be unknown. The zero value is unknown.
type Opt struct {
	V  float64 // meaningful only when OK
	OK bool
}

// Some returns a known number.
func Some(v float64) Opt { return Opt{V: v, OK: true} }

// Or returns the number, or fallback when it is unknown.
func (o Opt) Or(fallback float64) float64 {
	if o.OK {
		return o.V
	}
	return fallback
}
