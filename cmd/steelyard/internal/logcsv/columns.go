package logcsv

import (
	"fmt"
	"slices"
	"strings"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// column is one column that a log may have. A number has bounds, in unit after
// toUnit; text has none.
type column struct {
	name      string
	about     string
	low, high float64
	unit      string
	toUnit    func(float64) float64 // nil: the cell is in unit already
	whole     bool
}

type group struct {
	title   string
	columns []column
}

// The exact conversions that the contract states.
func poundToKg(lb float64) float64 { return lb * 0.45359237 }
func stoneToKg(st float64) float64 { return st * 14 * 0.45359237 }
func kjToKcal(kj float64) float64  { return kj / 4.184 }
func tapeColumn(what string) column {
	return column{name: what + "_cm", low: 10, high: 300, unit: "cm"}
}
func scoreColumn(name, about string) column {
	return column{name: name, about: about, low: 1, high: 5, whole: true}
}

// groups lists every column, in the order of the help text. The bounds are the
// contract's; a test holds the two together.
var groups = []group{
	{"every row", []column{
		{name: "trainee", about: "trainee id; --trainee stands in when the cell is empty"},
		{name: "date", about: "local calendar day, 2025-01-31; required"},
		{name: "key", about: "tells entries of one kind and day apart, such as breakfast"},
		{name: "note", about: "free text, at most 500 characters; kept with the row's first entry"},
	}},
	{"weigh-in (one of the three)", []column{
		{name: "weight_kg", low: 20, high: 400, unit: "kg"},
		{name: "weight_lb", low: 20, high: 400, unit: "kg", toUnit: poundToKg},
		{name: "weight_st", about: "decimal stones: 12 st 7 lb is 12.5", low: 20, high: 400, unit: "kg", toUnit: stoneToKg},
		{name: "minute_of_day", about: "local minutes after midnight", low: 0, high: 1439, whole: true},
	}},
	{"intake (a whole day, or one meal with a key)", []column{
		{name: "intake_kcal", low: 0, high: 20000, unit: "kcal"},
		{name: "intake_kj", low: 0, high: 20000, unit: "kcal", toUnit: kjToKcal},
		{name: "protein_g", low: 0, high: 1000, unit: "g"},
		{name: "carbohydrate_g", low: 0, high: 3000, unit: "g"},
		{name: "fat_g", low: 0, high: 1500, unit: "g"},
		{name: "sodium_mg", low: 0, high: 50000, unit: "mg"},
		{name: "partial", about: "yes when the day's log is known to be incomplete"},
	}},
	{"activity", []column{
		{name: "steps", low: 0, high: 200000, whole: true},
		{name: "activity_kcal", about: "energy above rest", low: 0, high: 10000, unit: "kcal"},
		{name: "activity_kj", about: "energy above rest", low: 0, high: 10000, unit: "kcal", toUnit: kjToKcal},
		{name: "activity_minutes", low: 0, high: 1440, unit: "min"},
	}},
	{"lift set (one row a set)", []column{
		{name: "lift", about: "your name of the lift, such as back-squat; the sets of a day are numbered in file order"},
		{name: "load_kg", low: 0, high: 1000, unit: "kg"},
		{name: "load_lb", low: 0, high: 1000, unit: "kg", toUnit: poundToKg},
		{name: "reps", low: 1, high: 200, whole: true},
		{name: "reps_in_reserve", low: 0, high: 20},
	}},
	{"tape", []column{
		tapeColumn("waist"), tapeColumn("abdomen"), tapeColumn("hip"), tapeColumn("neck"),
		tapeColumn("chest"), tapeColumn("thigh"), tapeColumn("upper_arm"),
	}},
	{"body fat", []column{
		{name: "body_fat_pct", low: 2, high: 70, unit: "%"},
		{name: "body_fat_method", about: strings.Join(words(steelyardv1.BodyFatMethod_name, "BODY_FAT_METHOD_"), ", ")},
	}},
	{"check-in (1 hardest to 5 easiest)", []column{
		scoreColumn("hunger_ease", "5 is not hungry"),
		scoreColumn("energy", "5 is fresh"),
		scoreColumn("sleep", "5 is slept well"),
		scoreColumn("training_drive", "5 is keen to train"),
		{name: "was_slog", about: "yes when the weeks behind felt like a slog"},
	}},
	{"marks", []column{
		{name: "marks", about: "joined by ';': " + strings.Join(words(steelyardv1.MarkKind_name, "MARK_KIND_"), ", ")},
		{name: "refeed_kcal", about: "a refeed's own intake target", low: 0, high: 20000, unit: "kcal"},
	}},
}

// columnNamed finds a column of the table.
func columnNamed(name string) (column, bool) {
	for _, g := range groups {
		for _, c := range g.columns {
			if c.name == name {
				return c, true
			}
		}
	}
	return column{}, false
}

// words lists an enum's values as a log writes them, in the contract's order.
func words(names map[int32]string, prefix string) []string {
	numbers := make([]int32, 0, len(names))
	for n := range names {
		if n != 0 {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	out := make([]string, len(numbers))
	for i, n := range numbers {
		out[i] = strings.ToLower(strings.TrimPrefix(names[n], prefix))
	}
	return out
}

// ColumnHelp describes every column, for a help text.
func ColumnHelp() string {
	var b strings.Builder
	for _, g := range groups {
		fmt.Fprintf(&b, "  %s\n", g.title)
		for _, c := range g.columns {
			fmt.Fprintf(&b, "    %-16s %s\n", c.name, c.describe())
		}
	}
	return b.String()
}

func (c column) describe() string {
	if c.high == 0 {
		return c.about
	}
	s := c.rangeText()
	if c.about != "" {
		s += "; " + c.about
	}
	return s
}

func (c column) rangeText() string {
	kind := "from"
	if c.whole {
		kind = "a whole number from"
	}
	return strings.TrimSpace(fmt.Sprintf("%s %g to %g %s", kind, c.low, c.high, c.unit))
}
