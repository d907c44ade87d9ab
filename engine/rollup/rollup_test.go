package rollup

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"example.com/steelyard/engine"
)

const today engine.Day = 20_000

// entries gives each fact of a kind the keys 1, 2, 3, ... in the order given.
func entries(facts ...engine.Fact) []engine.Entry {
	var out []engine.Entry
	count := map[engine.Kind]int{}
	for _, f := range facts {
		count[f.Kind()]++
		out = append(out, engine.Entry{Day: today, Key: strconv.Itoa(count[f.Kind()]), Fact: f})
	}
	return out
}

func entry(key string, f engine.Fact) engine.Entry {
	return engine.Entry{Day: today, Key: key, Fact: f}
}

func some(v float64) engine.Opt { return engine.Some(v) }

func lb(v float64) engine.Mass { return engine.Mass{Value: v, Unit: engine.Pound} }

func TestRow(t *testing.T) {
	refeed := engine.MarkSet(0).With(engine.MarkRefeed)
	for name, c := range map[string]struct {
		entries []engine.Entry
		want    engine.WindowDay
	}{
		"nothing": {nil, engine.WindowDay{}},
		"one weight": {
			entries(engine.WeighIn{Weight: lb(200)}),
			engine.WindowDay{WeightKg: some(90.718474), Readings: 1},
		},
		"the earliest reading, not the first key": {
			entries(
				engine.WeighIn{Weight: engine.Kg(82), MinuteOfDay: some(700)},
				engine.WeighIn{Weight: engine.Kg(81), MinuteOfDay: some(400)},
				engine.WeighIn{Weight: engine.Kg(83), MinuteOfDay: some(1200)}),
			engine.WindowDay{WeightKg: some(81), Readings: 3},
		},
		"a known time before an unknown one": {
			entries(engine.WeighIn{Weight: engine.Kg(82)}, engine.WeighIn{Weight: engine.Kg(81), MinuteOfDay: some(1439)}),
			engine.WindowDay{WeightKg: some(81), Readings: 2},
		},
		"midnight is a time": {
			entries(engine.WeighIn{Weight: engine.Kg(82), MinuteOfDay: some(1)}, engine.WeighIn{Weight: engine.Kg(81), MinuteOfDay: some(0)}),
			engine.WindowDay{WeightKg: some(81), Readings: 2},
		},
		"the same minute: the smaller key": {
			entries(engine.WeighIn{Weight: engine.Kg(82), MinuteOfDay: some(400)}, engine.WeighIn{Weight: engine.Kg(81), MinuteOfDay: some(400)}),
			engine.WindowDay{WeightKg: some(82), Readings: 2},
		},
		"no times: the smaller key": {
			entries(engine.WeighIn{Weight: engine.Kg(82)}, engine.WeighIn{Weight: engine.Kg(81)}),
			engine.WindowDay{WeightKg: some(82), Readings: 2},
		},
		"masses that are none": {
			entries(
				engine.WeighIn{Weight: engine.Mass{Value: 80}, MinuteOfDay: some(1)},
				engine.WeighIn{Weight: engine.Kg(math.NaN()), MinuteOfDay: some(2)},
				engine.WeighIn{Weight: engine.Kg(81), MinuteOfDay: some(3)}),
			engine.WindowDay{WeightKg: some(81), Readings: 1},
		},
		"only a mass that is none": {
			entries(engine.WeighIn{Weight: engine.Mass{Value: 80}}),
			engine.WindowDay{},
		},
		"meals are summed over units": {
			entries(
				engine.Intake{Energy: engine.Kcal(700), ProteinG: some(50)},
				engine.Intake{Energy: engine.Energy{Value: 4184, Unit: engine.Kilojoule}, ProteinG: some(60)}),
			engine.WindowDay{IntakeKcal: some(1700), ProteinG: some(110)},
		},
		"one partial meal makes the day unknown": {
			entries(engine.Intake{Energy: engine.Kcal(700), ProteinG: some(50)}, engine.Intake{Energy: engine.Kcal(900), ProteinG: some(60), IsPartial: true}),
			engine.WindowDay{},
		},
		"an energy without a unit makes the day unknown": {
			entries(engine.Intake{Energy: engine.Kcal(700), ProteinG: some(50)}, engine.Intake{Energy: engine.Energy{Value: 900}, ProteinG: some(60)}),
			engine.WindowDay{},
		},
		"one meal without protein": {
			entries(
				engine.Intake{Energy: engine.Kcal(700), ProteinG: some(50)},
				engine.Intake{Energy: engine.Kcal(900)},
				engine.Intake{Energy: engine.Kcal(100), ProteinG: some(10)}),
			engine.WindowDay{IntakeKcal: some(1700)},
		},
		"a fast is known": {
			entries(engine.Intake{Energy: engine.Kcal(0), ProteinG: some(0)}),
			engine.WindowDay{IntakeKcal: some(0), ProteinG: some(0)},
		},
		"two step counters": {
			entries(engine.Activity{Steps: some(8000)}, engine.Activity{Steps: some(9100)}, engine.Activity{Steps: some(7000)}),
			engine.WindowDay{Steps: some(9100)},
		},
		"a counted day without steps": {
			entries(engine.Activity{Steps: some(0)}),
			engine.WindowDay{Steps: some(0)},
		},
		"activity energy is summed": {
			entries(
				engine.Activity{Energy: engine.Kcal(100)},
				engine.Activity{Energy: engine.Energy{Value: 418.4, Unit: engine.Kilojoule}, Steps: some(3000)},
				engine.Activity{Energy: engine.Energy{Value: 50}}),
			engine.WindowDay{ActivityKcal: some(200), Steps: some(3000)},
		},
		"activity minutes alone say nothing": {
			entries(engine.Activity{Minutes: some(30)}),
			engine.WindowDay{},
		},
		"marks are united": {
			entries(engine.Mark{Of: engine.MarkTravel}, engine.Mark{Of: engine.MarkMissedPeriod}, engine.Mark{Of: engine.MarkTravel}),
			engine.WindowDay{Marks: engine.MarkSet(0).With(engine.MarkTravel).With(engine.MarkMissedPeriod)},
		},
		"no mark": {
			entries(engine.Mark{}),
			engine.WindowDay{},
		},
		"the largest refeed target": {
			entries(
				engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2500)},
				engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2900)},
				engine.Mark{Of: engine.MarkRefeed},
				engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2700)}),
			engine.WindowDay{Marks: refeed, RefeedKcal: some(2900)},
		},
		"a refeed without a target": {
			entries(engine.Mark{Of: engine.MarkRefeed}),
			engine.WindowDay{Marks: refeed},
		},
		"a target of another mark": {
			entries(engine.Mark{Of: engine.MarkIllness, TargetKcal: some(2500)}),
			engine.WindowDay{Marks: engine.MarkSet(0).With(engine.MarkIllness)},
		},
		"each question has its own last answer": {
			entries(
				engine.CheckIn{HungerEase: 2, Energy: 3, WasSlog: engine.Yes},
				engine.CheckIn{HungerEase: 4, Sleep: 5},
				engine.CheckIn{Energy: 1, TrainingDrive: 2, WasSlog: engine.No}),
			engine.WindowDay{CheckIn: engine.CheckIn{HungerEase: 4, Energy: 1, Sleep: 5, TrainingDrive: 2, WasSlog: engine.No}},
		},
		"later answers replace earlier ones": {
			entries(
				engine.CheckIn{HungerEase: 1, Energy: 1, Sleep: 1, TrainingDrive: 1, WasSlog: engine.Yes},
				engine.CheckIn{HungerEase: 2, Energy: 3, Sleep: 4, TrainingDrive: 5, WasSlog: engine.No}),
			engine.WindowDay{CheckIn: engine.CheckIn{HungerEase: 2, Energy: 3, Sleep: 4, TrainingDrive: 5, WasSlog: engine.No}},
		},
		"a question left out keeps its answer": {
			entries(engine.CheckIn{HungerEase: 2, Energy: 3, Sleep: 4, TrainingDrive: 5, WasSlog: engine.No}, engine.CheckIn{}),
			engine.WindowDay{CheckIn: engine.CheckIn{HungerEase: 2, Energy: 3, Sleep: 4, TrainingDrive: 5, WasSlog: engine.No}},
		},
		"photos": {
			entries(engine.PhotoSet{Reference: "front"}),
			engine.WindowDay{HasPhotos: true},
		},
	} {
		t.Run(name, func(t *testing.T) {
			if diff := gocmp.Diff(Result{Row: c.want}, Day(today, c.entries)); diff != "" {
				t.Errorf("want -, got +\n%s", diff)
			}
		})
	}
}

func TestLifts(t *testing.T) {
	got := Day(today, entries(
		engine.LiftSet{Lift: "squat", Load: engine.Kg(140), Reps: 3, RepsInReserve: some(1)},   // 154
		engine.LiftSet{Lift: "bench", Load: engine.Kg(100), Reps: 5},                           // 116.67
		engine.LiftSet{Lift: "squat", Load: engine.Kg(120), Reps: 12, RepsInReserve: some(0)},  // beyond the domain
		engine.LiftSet{Lift: "squat", Load: lb(220.46226218487757), Reps: 5},                   // 100 kg: 116.67
		engine.LiftSet{Lift: "squat", Load: engine.Kg(60), Reps: 8, RepsInReserve: some(5)},    // not hard
		engine.LiftSet{Lift: "squat", Load: engine.Kg(100), Reps: 8, RepsInReserve: some(4)},   // just hard: 126.67
		engine.LiftSet{Lift: "squat", Load: engine.Kg(160), Reps: 0},                           // a missed lift
		engine.LiftSet{Lift: "pull-up", Reps: 8},                                               // body weight
		engine.LiftSet{Lift: "bench", Load: engine.Mass{Value: 500}, Reps: 1},                  // no unit
		engine.LiftSet{Lift: "carry", Load: engine.Kg(40), Reps: 15, RepsInReserve: some(4.5)}, // beyond the domain
	))
	want := Result{Lifts: []engine.LiftDay{
		{Day: today, Lift: "bench", BestE1RM: some(100 * (1 + 5.0/30)), Sets: 2, HardSets: 2},
		{Day: today, Lift: "carry", Sets: 1},
		{Day: today, Lift: "pull-up", Sets: 1, HardSets: 1},
		{Day: today, Lift: "squat", BestE1RM: some(140 * (1 + 3.0/30)), Sets: 5, HardSets: 4},
	}}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Errorf("want -, got +\n%s", diff)
	}
}

func TestBodyReadings(t *testing.T) {
	dxa := engine.BodyFat{Pct: 18.2, Method: engine.BodyFatDXA}
	calipers := engine.BodyFat{Pct: 16, Method: engine.BodyFatCalipers}
	tape, second := engine.Tape{WaistCm: some(84)}, engine.Tape{NeckCm: some(39)}
	got := Day(today, []engine.Entry{entry("b", calipers), entry("2", second), entry("a", dxa), entry("1", tape)})
	want := Result{
		BodyFat: []engine.BodyFatReading{{Day: today, BodyFat: dxa}, {Day: today, BodyFat: calipers}},
		Tapes:   []engine.TapeReading{{Day: today, Tape: tape}, {Day: today, Tape: second}},
	}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Errorf("want -, got +\n%s", diff)
	}
}

// A full day in any order gives the same bits, although sums of floats depend
// on their order, and the caller's slice stays as it was.
func TestOrderDoesNotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var facts []engine.Fact
	for range 12 {
		facts = append(facts,
			engine.WeighIn{Weight: engine.Kg(80 + rng.Float64()), MinuteOfDay: engine.Opt{V: float64(rng.IntN(4)), OK: rng.IntN(3) > 0}},
			engine.Intake{Energy: engine.Kcal(rng.Float64() * 900), ProteinG: some(rng.Float64() * 60)},
			engine.Activity{Steps: some(float64(rng.IntN(9000))), Energy: engine.Kcal(rng.Float64() * 100)},
			engine.LiftSet{Lift: strconv.Itoa(rng.IntN(3)), Load: engine.Kg(100 * rng.Float64()), Reps: 1 + rng.IntN(12)},
			engine.CheckIn{HungerEase: rng.IntN(6), Energy: rng.IntN(6), Sleep: rng.IntN(6), TrainingDrive: rng.IntN(6), WasSlog: engine.Answer(rng.IntN(3))},
			engine.Mark{Of: engine.MarkKind(rng.IntN(9)), TargetKcal: engine.Opt{V: float64(rng.IntN(3000)), OK: rng.IntN(2) > 0}},
			engine.BodyFat{Pct: 30 * rng.Float64()},
			engine.Tape{WaistCm: some(100 * rng.Float64())},
		)
	}
	all := entries(facts...)
	want := Day(today, all)
	if !want.Row.IntakeKcal.OK || want.Row.Readings != 12 || len(want.Lifts) != 3 {
		t.Fatalf("a poor example: %+v", want)
	}
	for range 200 {
		rng.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		given := slices.Clone(all)
		if diff := gocmp.Diff(want, Day(today, all)); diff != "" {
			t.Fatalf("want -, got +\n%s", diff)
		}
		if !slices.EqualFunc(given, all, func(a, b engine.Entry) bool { return a == b }) {
			t.Fatal("the caller's entries were moved")
		}
	}
}

// Without the order by key, the sum of these three would differ.
func TestSumIsInOrderOfKeys(t *testing.T) {
	a, b, c := 0.1, 0.2, 0.3
	if (a+b)+c == (c+b)+a {
		t.Fatal("a poor example")
	}
	day := []engine.Entry{entry("1", engine.Intake{Energy: engine.Kcal(a)}), entry("2", engine.Intake{Energy: engine.Kcal(b)}), entry("3", engine.Intake{Energy: engine.Kcal(c)})}
	want := (a + b) + c
	if got := Day(today, day).Row.IntakeKcal; got != some(want) {
		t.Errorf("%v, want %v", got, want)
	}
	slices.SortFunc(day, func(x, y engine.Entry) int { return cmp.Compare(y.Key, x.Key) })
	if got := Day(today, day).Row.IntakeKcal; got != some(want) {
		t.Errorf("backwards: %v, want %v", got, want)
	}
}

type otherFact struct{}

func (otherFact) Kind() engine.Kind { return engine.KindMark }

func TestPanicsOnProgrammingErrors(t *testing.T) {
	weight := engine.WeighIn{Weight: engine.Kg(80)}
	for name, c := range map[string]struct {
		entries []engine.Entry
		want    string
	}{
		"another day":            {[]engine.Entry{entry("1", weight), {Day: today + 1, Key: "1", Fact: weight}}, errOtherDay},
		"one natural key twice":  {[]engine.Entry{entry("1", weight), entry("2", weight), entry("1", engine.WeighIn{Weight: engine.Kg(81)})}, errRepeated},
		"no fact":                {[]engine.Entry{entry("1", nil)}, errNoFact},
		"a fact of another type": {[]engine.Entry{entry("1", otherFact{})}, errUnknownFact},
		"a fact by pointer":      {[]engine.Entry{entry("1", &weight)}, errUnknownFact},
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if got := recover(); got != c.want {
					t.Errorf("panic %v, want %q", got, c.want)
				}
			}()
			Day(today, c.entries)
		})
	}
	// The same key in two kinds is no repetition.
	if got := Day(today, []engine.Entry{entry("1", weight), entry("1", engine.PhotoSet{})}).Row; got.Readings != 1 || !got.HasPhotos {
		t.Errorf("%+v", got)
	}
}
