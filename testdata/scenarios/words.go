package scenarios

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.com/steelyard/engine"
)

// Actions are the words for engine.Action, in its order.
var Actions = []string{
	"unspecified", "keep-logging", "start-deficit", "hold", "lower-balance", "raise-balance", "meet-target",
	"add-base-activity", "change-refeeds", "ease", "take-break", "return-to-maintenance", "finish", "refer",
}

// Stages are the words for where a plan stands.
var Stages = []string{
	"not-started", "maintenance-test", "opening-deficit", "base-activity", "weekly-reviews", "diet-break",
	"return-to-maintenance", "finished", "paused", "referred", "closed",
}

var (
	markWords      = []string{"unspecified", "refeed", "salty-meal", "illness", "travel", "period-start", "fainting", "palpitations", "missed-period"}
	levelWords     = []string{"unknown", "sedentary", "low-active", "active", "very-active"}
	conditionWords = []string{"pregnant", "breastfeeding", "eating-disorder", "glucose-lowering-medication", "kidney-disease", "heart-disease"}
	methodWords    = []string{"posterior", "practice-table"}
	fatWords       = []string{"unspecified", "dxa", "calipers", "impedance", "tape", "visual"}
)

// word returns the place of a word in a list whose first is no choice.
func word(words []string, text string) (int, error) {
	if i := slices.Index(words, text); i > 0 {
		return i, nil
	}
	return 0, fmt.Errorf("%q is none of %s", text, strings.Join(words[1:], ", "))
}

// decision reads "2025-03-13 start-deficit 2150 activity 125 refeed 14 2700":
// the day, the action, the intake, and if there are any the activity and the
// refeeds, one in so many days at so much.
func decision(line string) (engine.Decision, error) {
	words := strings.Fields(line)
	if len(words) < 3 {
		return engine.Decision{}, errors.New("a decision is a day, an action and an intake")
	}
	day, err := engine.ParseDay(words[0])
	if err != nil {
		return engine.Decision{}, err
	}
	action, err := word(Actions, words[1])
	if err != nil {
		return engine.Decision{}, err
	}
	d := engine.Decision{From: day, Action: engine.Action(action), By: "coach"}
	if d.Target.IntakeKcal, err = number(words[2]); err != nil {
		return engine.Decision{}, err
	}
	rest := words[3:]
	if len(rest) >= 2 && rest[0] == "activity" {
		if d.Target.ActivityKcal, err = number(rest[1]); err != nil {
			return engine.Decision{}, err
		}
		rest = rest[2:]
	}
	if len(rest) >= 3 && rest[0] == "refeed" {
		if d.Target.Refeed.EveryDays, err = strconv.Atoi(rest[1]); err != nil {
			return engine.Decision{}, err
		}
		if d.Target.Refeed.IntakeKcal, err = number(rest[2]); err != nil {
			return engine.Decision{}, err
		}
		rest = rest[3:]
	}
	if len(rest) > 0 {
		return engine.Decision{}, fmt.Errorf("%q is not understood", strings.Join(rest, " "))
	}
	return d, nil
}

// decisionLine writes a decision as it is read.
func decisionLine(d engine.Decision) string {
	line := fmt.Sprintf("%s %s %s", d.From, Actions[d.Action], plain(d.Target.IntakeKcal))
	if d.Target.ActivityKcal != 0 {
		line += " activity " + plain(d.Target.ActivityKcal)
	}
	if r := d.Target.Refeed; r.EveryDays > 0 {
		line += fmt.Sprintf(" refeed %d %s", r.EveryDays, plain(r.IntakeKcal))
	}
	return line
}

// plain writes a number so that it is read as the same one.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// keyed is a fact with its key within the day.
type keyed struct {
	key  string
	fact engine.Fact
}

// marks reads "illness, refeed 2700".
func marks(text string) ([]keyed, error) {
	var out []keyed
	for _, part := range strings.Split(text, ",") {
		words := strings.Fields(part)
		if len(words) == 0 || len(words) > 2 {
			return nil, errors.New("a mark is a word, and for a refeed its intake")
		}
		of, err := word(markWords, words[0])
		if err != nil {
			return nil, err
		}
		m := engine.Mark{Of: engine.MarkKind(of)}
		if len(words) == 2 {
			kcal, err := number(words[1])
			if err != nil || m.Of != engine.MarkRefeed {
				return nil, errors.New("only a refeed has an intake")
			}
			m.TargetKcal = engine.Some(kcal)
		}
		out = append(out, keyed{words[0], m})
	}
	return out, nil
}

// named reads "waist 84.5, neck 38" into the places of its names.
func named(text string, places map[string]func(string) error) error {
	for _, part := range strings.Split(text, ",") {
		words := strings.Fields(part)
		if len(words) != 2 {
			return fmt.Errorf("%q is not a name and a value", part)
		}
		put, ok := places[words[0]]
		if !ok {
			return fmt.Errorf("%q is not known", words[0])
		}
		if err := put(words[1]); err != nil {
			return fmt.Errorf("%s: %w", words[0], err)
		}
	}
	return nil
}

// checkIn reads "hunger 2, energy 3, sleep 4, drive 3, slog yes".
func checkIn(text string) ([]keyed, error) {
	var c engine.CheckIn
	score := func(to *int) func(string) error {
		return func(v string) error {
			n, err := strconv.Atoi(v)
			if err != nil || n < 1 || n > 5 {
				return errors.New("must be 1 to 5")
			}
			*to = n
			return nil
		}
	}
	err := named(text, map[string]func(string) error{
		"hunger": score(&c.HungerEase), "energy": score(&c.Energy), "sleep": score(&c.Sleep), "drive": score(&c.TrainingDrive),
		"slog": func(v string) error {
			switch v {
			case "yes":
				c.WasSlog = engine.Yes
			case "no":
				c.WasSlog = engine.No
			default:
				return errors.New("must be yes or no")
			}
			return nil
		},
	})
	return []keyed{{"1", c}}, err
}

// bodyFat reads "18.5 calipers".
func bodyFat(text string) ([]keyed, error) {
	words := strings.Fields(text)
	if len(words) != 2 {
		return nil, errors.New("is not a percentage and a method")
	}
	pct, err := number(words[0])
	if err != nil {
		return nil, err
	}
	method, err := word(fatWords, words[1])
	return []keyed{{"1", engine.BodyFat{Pct: pct, Method: engine.BodyFatMethod(method)}}}, err
}

// tape reads "waist 84.5, abdomen 88, neck 38, hip 98", in cm.
func tape(text string) ([]keyed, error) {
	var t engine.Tape
	length := func(to *engine.Opt) func(string) error {
		return func(v string) error {
			cm, err := number(v)
			*to = engine.Some(cm)
			return err
		}
	}
	err := named(text, map[string]func(string) error{
		"waist": length(&t.WaistCm), "abdomen": length(&t.AbdomenCm), "hip": length(&t.HipCm), "neck": length(&t.NeckCm),
	})
	return []keyed{{"1", t}}, err
}
