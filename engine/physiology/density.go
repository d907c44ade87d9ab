package physiology

// Energy densities of what a body gains or loses, in kcal/kg. The kilocalorie
// is the thermochemical one, 4.184 kJ.
//
// Source: 39.5 (fat), 7.6 (lean tissue with its water) and 17.6 MJ/kg
// (glycogen, dry): Hall KD, Int J Obes 2008;32:573-576, and the web appendix of
// Hall KD et al., Lancet 2011;378:826-837.
//
// Lost weight is a mixture. The old rule of 3500 kcal a pound (7716 kcal/kg)
// fits people with much fat and overstates the deficit that a lean person needs.
const (
	FatKcalPerKg      = 39.5e3 / kJPerKcal // 9440.7
	LeanKcalPerKg     = 7.6e3 / kJPerKcal  // 1816.4
	GlycogenKcalPerKg = 17.6e3 / kJPerKcal // 4206.5

	kJPerKcal = 4.184
)
