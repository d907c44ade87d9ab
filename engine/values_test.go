package engine

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.com/steelyard/testdata/published"
)

func TestUnitsAreExact(t *testing.T) {
	mass := map[string]MassUnit{"kilogram": Kilogram, "pound": Pound, "stone": Stone}
	energy := map[string]EnergyUnit{"kilocalorie": Kilocalorie, "kilojoule": Kilojoule}
	seen := map[string]bool{}
	for _, row := range published.Read(t, "units.csv") {
		unit, value := row.Text("unit"), row.Num("value")
		var got Opt
		switch row.Text("quantity") {
		case "mass":
			got = Mass{Value: value, Unit: mass[unit]}.Kg()
		case "energy":
			got = Energy{Value: value, Unit: energy[unit]}.Kcal()
		}
		// Exact but for the last bit of one multiplication.
		if want := row.Num("converted"); !got.OK || math.Abs(got.V-want) > 2e-16*math.Abs(want) {
			t.Errorf("%v %s = %v, want %v", value, unit, got, want)
		}
		seen[unit] = true
	}
	if len(seen) != len(mass)+len(energy) {
		t.Errorf("compared %v", seen)
	}
	if kgPerPound != 0.45359237 || kgPerStone != 6.35029318 || kJPerKcal != 4.184 {
		t.Errorf("constants %v %v %v", kgPerPound, kgPerStone, kJPerKcal)
	}
	if Kg(80) != (Mass{80, Kilogram}) || Kcal(500) != (Energy{500, Kilocalorie}) {
		t.Error("Kg and Kcal build the given quantity")
	}
}

func TestUnknownQuantities(t *testing.T) {
	bad := []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
	for u := range MassUnit(6) {
		valid := u >= Kilogram && u <= Stone
		if got := (Mass{80, u}).Kg(); got.OK != valid {
			t.Errorf("mass unit %d: %v", u, got)
		}
		for _, v := range bad {
			if got := (Mass{v, u}).Kg(); got != (Opt{}) {
				t.Errorf("%v in mass unit %d: %v", v, u, got)
			}
		}
	}
	for u := range EnergyUnit(5) {
		valid := u == Kilocalorie || u == Kilojoule
		if got := (Energy{80, u}).Kcal(); got.OK != valid {
			t.Errorf("energy unit %d: %v", u, got)
		}
		for _, v := range bad {
			if got := (Energy{v, u}).Kcal(); got != (Opt{}) {
				t.Errorf("%v in energy unit %d: %v", v, u, got)
			}
		}
	}
}

func TestOpt(t *testing.T) {
	if got := Some(0).Or(5); got != 0 {
		t.Errorf("a known 0 gave %v", got)
	}
	if got := (Opt{V: 3}).Or(5); got != 5 {
		t.Errorf("unknown gave %v", got)
	}
}

func TestKindNames(t *testing.T) {
	facts := []Fact{WeighIn{}, Intake{}, Activity{}, LiftSet{}, Tape{}, BodyFat{}, CheckIn{}, PhotoSet{}, Mark{}}
	names := map[string]bool{}
	for i, f := range facts {
		k := f.Kind()
		if int(k) != i+1 { // the stored numbers
			t.Errorf("%T is kind %d, want %d", f, k, i+1)
		}
		names[k.String()] = true
	}
	if len(names) != len(facts) || len(kindNames) != len(facts)+1 {
		t.Errorf("%d names for %d kinds, %d in the table", len(names), len(facts), len(kindNames))
	}
	for _, k := range []Kind{KindUnspecified, KindMark + 1, 255} {
		if k.String() != "unspecified" {
			t.Errorf("kind %d is called %q", uint8(k), k)
		}
	}
}

func TestEntryID(t *testing.T) {
	e := Entry{Day: 7, Key: "2", Note: "n", Fact: CheckIn{Energy: 3}}
	if got, want := e.ID(), (ID{Day: 7, Kind: KindCheckIn, Key: "2"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// An embedded fact keeps its kind.
	if k := (TapeReading{}).Kind(); k != KindTape {
		t.Errorf("a tape reading is of kind %v", k)
	}
}

func TestMarkSet(t *testing.T) {
	var s MarkSet
	for m := MarkRefeed; m <= MarkMissedPeriod; m++ {
		if s.Has(m) {
			t.Errorf("%d before it was added", m)
		}
		if s = s.With(m); !s.Has(m) || s.With(m) != s {
			t.Errorf("%d after it was added: %b", m, s)
		}
	}
	if s.Has(MarkMissedPeriod+1) || s.Has(200) || s.With(200) != s {
		t.Errorf("a mark that does not exist: %b", s)
	}
	if MarkMissedPeriod >= 16 {
		t.Error("a mark set holds 16")
	}
}

func TestConditionHas(t *testing.T) {
	s := Pregnant | KidneyDisease
	if !s.Has(Pregnant) || !s.Has(KidneyDisease) || s.Has(HeartDisease) || Condition(0).Has(Pregnant) {
		t.Errorf("set %b", s)
	}
}

func TestTargetOn(t *testing.T) {
	at := func(kcal float64) Target { return Target{IntakeKcal: kcal} }
	p := Plan{Start: 100, Decisions: []Decision{
		{From: 100, Target: at(2600)},
		{From: 110, Target: at(2300)},
		{From: 110, Target: at(2200)}, // recorded later for the same day: it holds
		{From: 120, Target: Target{IntakeKcal: 2100, ActivityKcal: 125}},
	}}
	for d, want := range map[Day]Target{
		100: at(2600), 109: at(2600), 110: at(2200), 119: at(2200), 120: {IntakeKcal: 2100, ActivityKcal: 125}, 9999: {IntakeKcal: 2100, ActivityKcal: 125},
	} {
		if got, ok := p.TargetOn(d); !ok || got != want {
			t.Errorf("day %d: %+v %v, want %+v", d, got, ok, want)
		}
	}
	for _, d := range []Day{99, -5} {
		if got, ok := p.TargetOn(d); ok || got != (Target{}) {
			t.Errorf("day %d, before the first decision: %+v", d, got)
		}
	}
	if _, ok := (Plan{}).TargetOn(5); ok {
		t.Error("a plan without decisions has a target")
	}
}

func TestMeanIntakeKcal(t *testing.T) {
	for _, c := range []struct {
		what string
		t    Target
		want float64
	}{
		{"no refeeds", Target{IntakeKcal: 2000, ActivityKcal: 300}, 2000},
		{"none, though an intake is named", Target{IntakeKcal: 2000, Refeed: Refeed{IntakeKcal: 2700}}, 2000},
		{"an impossible cadence counts as none", Target{IntakeKcal: 2000, Refeed: Refeed{EveryDays: -3, IntakeKcal: 2700}}, 2000},
		{"one day in seven", Target{IntakeKcal: 2000, Refeed: Refeed{EveryDays: 7, IntakeKcal: 2700}}, 2100}, // (6*2000 + 2700) / 7
		{"one day in ten", Target{IntakeKcal: 1900, Refeed: Refeed{EveryDays: 10, IntakeKcal: 2400}}, 1950},  // (9*1900 + 2400) / 10
		{"every day", Target{IntakeKcal: 2000, Refeed: Refeed{EveryDays: 1, IntakeKcal: 2700}}, 2700},
	} {
		if got := c.t.MeanIntakeKcal(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

func TestOrdinaryIntakeKcal(t *testing.T) {
	target := Target{IntakeKcal: 2000, ActivityKcal: 100, Refeed: Refeed{EveryDays: 7, IntakeKcal: 2700}}
	sunday, ok := DayOf(2026, 11, 22)
	if !ok || sunday.Weekday() != 0 {
		t.Fatalf("%s is weekday %d", sunday, sunday.Weekday())
	}
	for _, c := range []struct {
		extra           float64
		weekend, others float64
	}{{0, 2000, 2000}, {250, 2250, 1900}, {-100, 1900, 2040}} {
		p := Plan{WeekendExtraKcal: c.extra}
		for i, want := range [7]float64{c.weekend, c.others, c.others, c.others, c.others, c.others, c.weekend} {
			if got := p.OrdinaryIntakeKcal(target, sunday+Day(i)); math.Abs(got-want) > 1e-9 {
				t.Errorf("extra %v, weekday %d: %v, want %v", c.extra, i, got, want)
			}
		}
	}
	// Any seven days in a row come to seven times the target, before 1970 too.
	for _, extra := range []float64{0, 37.5, 250, 611} {
		p := Plan{WeekendExtraKcal: extra}
		for _, first := range []Day{-20, -1, 0, 4, 20514} {
			sum := 0.0
			for i := range Day(7) {
				sum += p.OrdinaryIntakeKcal(target, first+i)
			}
			if math.Abs(sum-7*target.IntakeKcal) > 1e-9 {
				t.Errorf("extra %v, the week from %s: %v", extra, first, sum)
			}
		}
	}
}

func TestDefaultPlan(t *testing.T) {
	p := DefaultPlan(100)
	if p.Start != 100 || p.State != PlanOpen || p.Method != Posterior {
		t.Errorf("%+v", p)
	}
	if !(p.BandLowPctPerWeek < p.PacePctPerWeek && p.PacePctPerWeek < p.BandHighPctPerWeek && p.BandHighPctPerWeek <= 1) {
		t.Errorf("the pace %v is not inside the band %v..%v", p.PacePctPerWeek, p.BandLowPctPerWeek, p.BandHighPctPerWeek)
	}
	if !p.FoodLever || !p.ActivityLever || p.BaseActivityKcal > p.ActivityCapKcal || p.IntakeFloorKcal.OK {
		t.Errorf("%+v", p)
	}
}

// window has days 100..104, a weight of its own number on each, and lifts,
// body fat and tapes on some.
func window() Window {
	w := Window{First: 100, Days: make([]WindowDay, 5)}
	for i := range w.Days {
		w.Days[i] = WindowDay{WeightKg: Some(float64(100 + i)), Readings: 1}
	}
	for _, d := range []Day{100, 102, 102, 104} {
		w.Lifts = append(w.Lifts, LiftDay{Day: d, Lift: "squat"})
	}
	for _, d := range []Day{101, 103} {
		w.BodyFat = append(w.BodyFat, BodyFatReading{Day: d})
		w.Tapes = append(w.Tapes, TapeReading{Day: d})
	}
	return w
}

func TestWindowAt(t *testing.T) {
	w := window()
	if w.End() != 105 {
		t.Errorf("end %d", w.End())
	}
	for d := Day(100); d < 105; d++ {
		if got := w.At(d).WeightKg; got != Some(float64(d)) {
			t.Errorf("day %d: %v", d, got)
		}
	}
	for _, d := range []Day{99, 105, math.MinInt32, math.MaxInt32} {
		if got := w.At(d); !got.IsEmpty() {
			t.Errorf("day %d, outside: %+v", d, got)
		}
	}
	if !(Window{}).At(0).IsEmpty() || (Window{First: 5}).End() != 5 {
		t.Error("an empty window has days")
	}
	if w.At(100).IsEmpty() {
		t.Error("a day with a weight is empty")
	}
}

func TestWindowBetween(t *testing.T) {
	w := window()
	type counts struct{ days, lifts, fat, tapes int }
	for name, c := range map[string]struct {
		from, to Day
		first    Day
		want     counts
	}{
		"all":              {100, 105, 100, counts{5, 4, 2, 2}},
		"wider":            {90, 200, 100, counts{5, 4, 2, 2}},
		"the middle":       {101, 103, 101, counts{2, 2, 1, 1}},
		"without its end":  {100, 102, 100, counts{2, 1, 1, 1}},
		"the last day":     {104, 105, 104, counts{1, 1, 0, 0}},
		"one day, nothing": {101, 102, 101, counts{1, 0, 1, 1}},
		"empty":            {102, 102, 102, counts{}},
		"backwards":        {104, 101, 104, counts{}},
		"before":           {80, 90, 100, counts{}},
		"after":            {105, 110, 105, counts{}},
		"far after":        {200, 210, 200, counts{}},
	} {
		t.Run(name, func(t *testing.T) {
			got := w.Between(c.from, c.to)
			n := counts{len(got.Days), len(got.Lifts), len(got.BodyFat), len(got.Tapes)}
			if got.First != c.first || n != c.want {
				t.Errorf("first %d, %+v, want %d, %+v", got.First, n, c.first, c.want)
			}
			for d := c.from; d < c.to && d < 110; d++ {
				if got.At(d) != w.At(d) {
					t.Errorf("day %d changed", d)
				}
			}
			for _, l := range got.Lifts {
				if l.Day < c.from || l.Day >= c.to {
					t.Errorf("a lift of day %d", l.Day)
				}
			}
			for i := range got.BodyFat {
				if f, m := got.BodyFat[i].Day, got.Tapes[i].Day; f < c.from || f >= c.to || m < c.from || m >= c.to {
					t.Errorf("readings of days %d, %d", f, m)
				}
			}
		})
	}
	if diff := cmp.Diff(window(), w); diff != "" {
		t.Errorf("the window itself changed:\n%s", diff)
	}
	if got := (Window{}).Between(0, 10); len(got.Days) != 0 {
		t.Errorf("out of an empty window: %+v", got)
	}
}
