// Package cohort is the virtual cohort: invented people with known truth, on
// whom the engine's estimates and decisions are tried. Their bodies follow the
// published dynamic model, their behaviour and their scales are messy. What they
// are made of is apart from the estimator: it shares physiology's constants and
// nothing else.
//
// Days count from 0, the first morning of the plan: 10 days of maintenance test,
// then the cut, first judged on day 20.
//
// Everyone is studied in two worlds, with the same luck: steady, where true
// maintenance moves only as the body does and habits stay, and wandering, where
// it takes a random walk of 10-15 kcal a day and up to 15 % of the cut is eaten
// again as old habits return. Real people are more like the second; the first
// tells what the arithmetic can do.
//
// Every number about behaviour here is an assumption, "common practice, no
// source", where no source is named, and what holds on the cohort need not hold
// for real people.
package cohort

import "fmt"

// Kind is a cohort.
type Kind uint8

// The cohorts.
const (
	General Kind = iota
	Easy         // people who log nearly all, eat evenly and hold little water
	Hard         // a poor guess, much that goes unlogged, much water
)

// Kinds are all cohorts.
func Kinds() []Kind { return []Kind{General, Easy, Hard} }

var kindNames = [...]string{General: "general", Easy: "easy", Hard: "hard"}

// String returns the cohort's name.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return "unknown"
}

// ParseKinds reads a cohort's name, or "all".
func ParseKinds(name string) ([]Kind, error) {
	if name == "all" {
		return Kinds(), nil
	}
	for _, k := range Kinds() {
		if k.String() == name {
			return []Kind{k}, nil
		}
	}
	return nil, fmt.Errorf("must be general, easy, hard or all (got %s)", name)
}

// World is how a person's maintenance and habits hold over the cut.
type World uint8

// The worlds.
const (
	Steady World = iota
	Wandering
)

// Worlds are both worlds.
func Worlds() []World { return []World{Steady, Wandering} }

// String returns the world's name.
func (w World) String() string {
	if w == Wandering {
		return "wandering"
	}
	return "steady"
}

// spread is the range that a trait is drawn from, evenly.
type spread struct{ low, high float64 }

// traits are what the cohorts differ in.
type traits struct {
	guessSD      float64 // of the guess about true maintenance, as a share of it
	underMean    float64 // share of what is eaten that never shows in the log
	underSD      float64
	under        spread // it stays within
	eatingCV     spread // day to day
	waterKg      spread // SD of the water that comes and goes
	missWeighIns spread // share of mornings
	missLogs     spread // share of days
	gapShare     float64
}

func (k Kind) traits() traits {
	t := traits{
		guessSD: 0.11, underMean: 0.10, underSD: 0.07, under: spread{0, 0.25},
		eatingCV: spread{0.10, 0.20}, waterKg: spread{0.3, 0.9},
		missWeighIns: spread{0, 0.40}, missLogs: spread{0, 0.25}, gapShare: 0.30,
	}
	switch k {
	case Easy:
		t.underMean, t.underSD, t.under = 0.025, 0.015, spread{0, 0.05}
		t.eatingCV, t.waterKg = spread{0.08, 0.12}, spread{0.3, 0.5}
		t.missWeighIns, t.missLogs, t.gapShare = spread{0, 0.05}, spread{0, 0.05}, 0
	case Hard:
		t.guessSD, t.underMean, t.under = 0.15, 0.18, spread{0, 0.30}
		t.waterKg = spread{0.5, 1.1}
	}
	return t
}
