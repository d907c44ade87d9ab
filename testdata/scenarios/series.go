package scenarios

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.com/steelyard/engine"
)

// blockText is some days of log: each series has one token a day.
type blockText struct {
	From       string            `yaml:"from"`
	Days       int               `yaml:"days"`
	WeighKg    string            `yaml:"weigh_kg"`
	WeighLb    string            `yaml:"weigh_lb"`
	IntakeKcal string            `yaml:"intake_kcal"`
	IntakeKJ   string            `yaml:"intake_kj"`
	Steps      string            `yaml:"steps"`
	Lifts      map[string]string `yaml:"lifts"`
}

// slot is what a series has for one of its days.
type slot struct {
	day   int // counted from 0
	token string
}

var repeats = regexp.MustCompile(`^(.+)x([0-9]+)$`)

// slots spells out a series: tokens separated by white space, "." for a day on
// which nothing is logged, and "x3" after a token for three such days. It
// refuses a series that is not exactly so many days long.
func slots(text string, days int) ([]slot, error) {
	var out []slot
	at := 0
	for _, token := range strings.Fields(text) {
		n := 1
		if m := repeats.FindStringSubmatch(token); m != nil {
			token = m[1]
			n, _ = strconv.Atoi(m[2])
			if n < 2 || n > 1000 {
				return nil, fmt.Errorf("%q: a token is repeated 2 to 1000 times", m[0])
			}
		}
		for range n {
			if token != "." {
				out = append(out, slot{at, token})
			}
			at++
		}
	}
	if at != days {
		return nil, fmt.Errorf("the series is %d days long, not %d", at, days)
	}
	return out, nil
}

func (b blockText) entries() ([]engine.Entry, error) {
	from, err := engine.ParseDay(b.From)
	if err != nil {
		return nil, fmt.Errorf("from: %w", err)
	}
	if b.Days < 1 {
		return nil, errors.New("days: must be 1 or more")
	}
	var out []engine.Entry
	add := func(key, text string, read func(token string) ([]engine.Fact, error)) error {
		if text == "" {
			return nil
		}
		found, err := slots(text, b.Days)
		if err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		for _, s := range found {
			day := from + engine.Day(s.day)
			facts, err := read(s.token)
			if err != nil {
				return fmt.Errorf("%s on %s: %q: %w", key, day, s.token, err)
			}
			for i, fact := range facts {
				name := strconv.Itoa(i + 1)
				if set, ok := fact.(engine.LiftSet); ok {
					name = set.Lift + "-" + name
				}
				out = append(out, engine.Entry{Day: day, Key: name, Fact: fact})
			}
		}
		return nil
	}
	for _, s := range []struct {
		key, text string
		read      func(string) ([]engine.Fact, error)
	}{
		{"weigh_kg", b.WeighKg, weighIn(engine.Kilogram)},
		{"weigh_lb", b.WeighLb, weighIn(engine.Pound)},
		{"intake_kcal", b.IntakeKcal, intake(engine.Kilocalorie)},
		{"intake_kj", b.IntakeKJ, intake(engine.Kilojoule)},
		{"steps", b.Steps, func(token string) ([]engine.Fact, error) {
			v, err := number(token)
			return []engine.Fact{engine.Activity{Steps: engine.Some(v)}}, err
		}},
	} {
		if err := add(s.key, s.text, s.read); err != nil {
			return nil, err
		}
	}
	for _, lift := range sorted(b.Lifts) {
		if err := add("lifts."+lift, b.Lifts[lift], liftSets(lift)); err != nil {
			return nil, err
		}
	}
	if len(out) == 0 {
		return nil, errors.New("holds nothing")
	}
	return out, nil
}

func weighIn(unit engine.MassUnit) func(string) ([]engine.Fact, error) {
	return func(token string) ([]engine.Fact, error) {
		v, err := number(token)
		return []engine.Fact{engine.WeighIn{Weight: engine.Mass{Value: v, Unit: unit}}}, err
	}
}

var intakeToken = regexp.MustCompile(`^(~)?([0-9.]+)(?:p([0-9.]+))?$`)

// intake reads an amount, "2100" or with its protein in g "2100p130"; "~900" is
// a log that is known to be incomplete.
func intake(unit engine.EnergyUnit) func(string) ([]engine.Fact, error) {
	return func(token string) ([]engine.Fact, error) {
		m := intakeToken.FindStringSubmatch(token)
		if m == nil {
			return nil, errors.New("is not an amount of energy")
		}
		v, err := number(m[2])
		fact := engine.Intake{Energy: engine.Energy{Value: v, Unit: unit}, IsPartial: m[1] != ""}
		if err == nil && m[3] != "" {
			var grams float64
			grams, err = number(m[3])
			fact.ProteinG = engine.Some(grams)
		}
		return []engine.Fact{fact}, err
	}
}

var liftToken = regexp.MustCompile(`^(?:([0-9]+)\*)?([0-9]+)@([0-9.]+)(lb)?(?:r([0-9.]+))?$`)

// liftSets reads "3*5@100r2": three sets of five with 100 kg and two
// repetitions in reserve; "5@225lb" is one set with 225 pounds.
func liftSets(lift string) func(string) ([]engine.Fact, error) {
	return func(token string) ([]engine.Fact, error) {
		m := liftToken.FindStringSubmatch(token)
		if m == nil {
			return nil, errors.New("is not of the form sets*reps@load")
		}
		load, err := number(m[3])
		if err != nil {
			return nil, err
		}
		set := engine.LiftSet{Lift: lift, Load: engine.Kg(load)}
		if m[4] != "" {
			set.Load.Unit = engine.Pound
		}
		if set.Reps, err = strconv.Atoi(m[2]); err != nil {
			return nil, err
		}
		if m[5] != "" {
			reserve, err := number(m[5])
			if err != nil {
				return nil, err
			}
			set.RepsInReserve = engine.Some(reserve)
		}
		n := 1
		if m[1] != "" {
			if n, err = strconv.Atoi(m[1]); err != nil || n < 1 || n > 20 {
				return nil, errors.New("must have 1 to 20 sets")
			}
		}
		return slices.Repeat([]engine.Fact{set}, n), nil
	}
}

// number reads a plain decimal number; there are no others in a log.
func number(text string) (float64, error) {
	if strings.Trim(text, "0123456789.") != "" {
		return 0, errors.New("is not a number")
	}
	return strconv.ParseFloat(text, 64)
}
