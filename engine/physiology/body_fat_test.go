package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

// cell reads a number that may be missing.
func cell(row published.Row, column string) engine.Opt {
	if row.Text(column) == "" {
		return engine.Opt{}
	}
	return engine.Some(row.Num(column))
}

func tapeOf(row published.Row) engine.Tape {
	return engine.Tape{AbdomenCm: cell(row, "abdomen_cm"), WaistCm: cell(row, "waist_cm"), HipCm: cell(row, "hip_cm"), NeckCm: cell(row, "neck_cm")}
}

func TestBodyFatPublished(t *testing.T) {
	counted := map[string]int{}
	for _, row := range published.Read(t, "body-fat.csv") {
		equation, sex, want := row.Text("equation"), sexOf(t, row.Text("sex")), row.Num("pct")
		var got FatEstimate
		var ok bool
		tol, se := 1e-6, map[engine.Sex]float64{engine.Male: 3.52, engine.Female: 3.72}[sex]
		switch equation {
		case "bmi":
			got, ok = BodyFatByBMI(sex, row.Num("bmi"), row.Int("age"))
			se = 4.1
		case "inches":
			// Another fit to the same question: within a tenth of a point of ours.
			tol = 0.1
			const cmPerInch = 2.54
			waist := (row.Num("abdomen_cm") - row.Num("neck_cm")) / cmPerInch
			form := 86.010*math.Log10(waist) - 70.041*math.Log10(row.Num("height_cm")/cmPerInch) + 36.76
			if math.Abs(form-want) > 1e-6 || math.Round(10*form) != 175 {
				t.Errorf("the form in inches gives %v", form)
			}
			fallthrough
		default:
			got, ok = BodyFatByTape(sex, row.Num("height_cm"), tapeOf(row))
		}
		counted[equation]++
		if !ok || math.Abs(got.Pct-want) > tol || got.SEPct != se {
			t.Errorf("%s %s: %+v %v, want %v", equation, row.Text("sex"), got, ok, want)
		}
	}
	if counted["tape"] != 3 || counted["inches"] != 1 || counted["bmi"] != 3 {
		t.Errorf("compared %v", counted)
	}
}

// The secondary text with rounded coefficients (0.191, 0.155, 1.032; 0.350,
// 0.221, 1.296) gives the same to its rounding.
func TestBodyFatByTapeRounded(t *testing.T) {
	man, _ := BodyFatByTape(engine.Male, 180, engine.Tape{AbdomenCm: engine.Some(90), NeckCm: engine.Some(39)})
	woman, _ := BodyFatByTape(engine.Female, 166, engine.Tape{WaistCm: engine.Some(75), HipCm: engine.Some(98), NeckCm: engine.Some(33)})
	rounded := [...]float64{
		495/(1.032-0.191*math.Log10(51)+0.155*math.Log10(180)) - 450,
		495/(1.296-0.350*math.Log10(140)+0.221*math.Log10(166)) - 450,
	}
	if math.Abs(man.Pct-rounded[0]) > 0.5 || math.Abs(woman.Pct-rounded[1]) > 0.5 {
		t.Errorf("%v and %v, rounded %v", man, woman, rounded)
	}
}

func TestBodyFatByTapeDomain(t *testing.T) {
	some, nan := engine.Some, math.NaN()
	type body struct {
		sex  engine.Sex
		cm   float64
		tape engine.Tape
	}
	man := body{engine.Male, 180, engine.Tape{AbdomenCm: some(90), NeckCm: some(39)}}
	woman := body{engine.Female, 166, engine.Tape{WaistCm: some(75), HipCm: some(98), NeckCm: some(33)}}
	for name, c := range map[string]struct {
		of     body
		change func(*body)
		ok     bool
	}{
		"man":                   {man, func(*body) {}, true},
		"woman":                 {woman, func(*body) {}, true},
		"no sex":                {woman, func(b *body) { b.sex = engine.SexUnknown }, false},
		"man without abdomen":   {man, func(b *body) { b.tape.AbdomenCm = engine.Opt{V: 90} }, false},
		"man by the waist":      {man, func(b *body) { b.tape.AbdomenCm, b.tape.WaistCm = engine.Opt{}, some(90) }, false},
		"man without neck":      {man, func(b *body) { b.tape.NeckCm.OK = false }, false},
		"woman without waist":   {woman, func(b *body) { b.tape.WaistCm.OK = false }, false},
		"woman without hip":     {woman, func(b *body) { b.tape.HipCm.OK = false }, false},
		"woman by the abdomen":  {woman, func(b *body) { b.tape.WaistCm, b.tape.AbdomenCm = engine.Opt{}, some(75) }, false},
		"height in metres":      {man, func(b *body) { b.cm = 1.8 }, false},
		"height unknown":        {man, func(b *body) { b.cm = nan }, false},
		"inches":                {man, func(b *body) { b.tape.AbdomenCm, b.tape.NeckCm = some(34), some(15) }, false},
		"neck 19.9":             {woman, func(b *body) { b.tape.NeckCm = some(19.9) }, false},
		"neck 20":               {woman, func(b *body) { b.tape.NeckCm = some(20) }, true},
		"neck 80":               {man, func(b *body) { b.tape.AbdomenCm, b.tape.NeckCm = some(140), some(80) }, true},
		"neck 80.1":             {man, func(b *body) { b.tape.AbdomenCm, b.tape.NeckCm = some(140), some(80.1) }, false},
		"neck unknown":          {man, func(b *body) { b.tape.NeckCm = some(nan) }, false},
		"girth 39.9":            {woman, func(b *body) { b.tape.WaistCm = some(39.9) }, false},
		"girth 40":              {woman, func(b *body) { b.tape.WaistCm = some(40) }, true},
		"girth 250":             {man, func(b *body) { b.cm, b.tape.AbdomenCm, b.tape.NeckCm = 250, some(250), some(80) }, true},
		"girth 250.1":           {man, func(b *body) { b.cm, b.tape.AbdomenCm, b.tape.NeckCm = 250, some(250.1), some(80) }, false},
		"abdomen as the neck":   {man, func(b *body) { b.tape.AbdomenCm, b.tape.NeckCm = some(45), some(45) }, false},
		"abdomen under it":      {man, func(b *body) { b.tape.AbdomenCm, b.tape.NeckCm = some(45), some(50) }, false},
		"a result under 2 %":    {man, func(b *body) { b.tape.AbdomenCm = some(70) }, false}, // 1.4 %
		"a result over 2 %":     {man, func(b *body) { b.tape.AbdomenCm = some(71) }, true},  // 2.6 %
		"a result over 70 %":    {man, func(b *body) { b.cm, b.tape.AbdomenCm = 120, some(250) }, false},
		"infinite":              {man, func(b *body) { b.tape.AbdomenCm = some(math.Inf(1)) }, false},
		"women as small as can": {woman, func(b *body) { b.tape = engine.Tape{WaistCm: some(40), HipCm: some(40), NeckCm: some(80)} }, false},
	} {
		b := c.of
		c.change(&b)
		if got, ok := BodyFatByTape(b.sex, b.cm, b.tape); ok != c.ok || !ok && got != (FatEstimate{}) {
			t.Errorf("%s: %+v %v", name, got, ok)
		}
	}
}

func TestBodyFatByBMIDomain(t *testing.T) {
	for _, c := range []struct {
		sex engine.Sex
		bmi float64
		age int
		ok  bool
	}{
		{engine.Male, 14.9, 30, false}, {engine.Male, 15, 30, true}, {engine.Female, 50, 30, true}, {engine.Female, 50.1, 30, false},
		{engine.Male, 25, 17, false}, {engine.Male, 25, 18, true}, {engine.Male, 25, 100, true}, {engine.Male, 25, 101, false},
		{engine.SexUnknown, 25, 30, false}, {engine.Male, math.NaN(), 30, false}, {engine.Female, math.Inf(1), 30, false},
		{engine.Female, 50, 100, false}, // 77.6 %: over 70
	} {
		if got, ok := BodyFatByBMI(c.sex, c.bmi, c.age); ok != c.ok || !ok && got != (FatEstimate{}) {
			t.Errorf("%+v: %+v %v", c, got, ok)
		}
	}
}

func TestFatEstimateBounds(t *testing.T) {
	for pct, known := range map[float64]bool{1.99: false, 2: true, 70: true, 70.01: false} {
		if got, ok := fatEstimate(pct, 4); ok != known || known && got != (FatEstimate{pct, 4}) || !known && got != (FatEstimate{}) {
			t.Errorf("%v %%: %+v %v", pct, got, ok)
		}
	}
}
