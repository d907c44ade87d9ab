package logcsv

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"buf.build/go/protovalidate"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// withNeighbours fills what a column cannot stand without.
var withNeighbours = map[string]string{
	"minute_of_day": "weight_kg=80", "protein_g": "intake_kcal=2000", "carbohydrate_g": "intake_kcal=2000",
	"fat_g": "intake_kcal=2000", "sodium_mg": "intake_kcal=2000", "load_kg": "lift=squat,reps=5", "load_lb": "lift=squat,reps=5",
	"reps": "lift=squat,load_kg=60", "reps_in_reserve": "lift=squat,load_kg=60,reps=5",
	"body_fat_pct": "body_fat_method=dxa", "refeed_kcal": "marks=refeed",
}

// The table's bounds are the contract's: what it admits the contract and the
// service's conversion admit, and a value just beyond, slipped past the table,
// they refuse.
func TestBoundsAreTheContracts(t *testing.T) {
	tried := 0
	for _, g := range groups {
		for _, c := range g.columns {
			if c.high == 0 {
				continue
			}
			tried++
			step := 0.001
			if c.whole {
				step = 1
			}
			fromUnit := func(v float64) float64 { // toUnit is a plain factor
				if c.toUnit == nil {
					return v
				}
				return v / c.toUnit(1)
			}
			for _, v := range []float64{fromUnit(c.low + step), fromUnit(c.high - step)} {
				if p := refusedBy(t, c, v, c); p != nil {
					t.Errorf("%s %v: %v", c.name, v, p)
				}
			}
			wide := c
			wide.low, wide.high = -math.MaxFloat64, math.MaxFloat64
			for _, v := range []float64{fromUnit(c.low - step), fromUnit(c.high + step)} {
				if refusedBy(t, c, v, c) == nil {
					t.Errorf("%s %v: the table admits it", c.name, v)
				}
				if refusedBy(t, c, v, wide) == nil {
					t.Errorf("%s %v: the table refuses it, the contract does not", c.name, v)
				}
			}
		}
	}
	if tried < 30 {
		t.Errorf("only %d columns have bounds", tried)
	}
}

// refusedBy reads a row with v in column c while the table holds as, and
// returns the first objection of the table, the contract or the conversion.
func refusedBy(t *testing.T, c column, v float64, as column) error {
	t.Helper()
	defer replaceColumn(as)()
	header, cells := "date,"+c.name, "2025-01-31,"+strconv.FormatFloat(v, 'f', -1, 64)
	if more := withNeighbours[c.name]; more != "" {
		for pair := range strings.SplitSeq(more, ",") {
			name, cell, _ := strings.Cut(pair, "=")
			header, cells = header+","+name, cells+","+cell
		}
	}
	l := read(t, header+"\n"+cells+"\n", "t-a")
	if len(l.Refused) > 0 {
		return fmt.Errorf("%s", l.Refused[0])
	}
	last, _ := engine.DayOf(2025, 2, 1)
	for _, e := range l.Parts[0].Entries() {
		if err := protovalidate.Validate(e); err != nil {
			return err
		}
		if _, err := convert.EntryFromProto(e, last); err != nil {
			return err
		}
	}
	return nil
}

func replaceColumn(as column) (restore func()) {
	for gi := range groups {
		for ci := range groups[gi].columns {
			if p := &groups[gi].columns[ci]; p.name == as.name {
				was := *p
				*p = as
				return func() { *p = was }
			}
		}
	}
	return func() {}
}

func TestHelpNamesEveryColumn(t *testing.T) {
	help := ColumnHelp()
	for _, g := range groups {
		for _, c := range g.columns {
			if !strings.Contains(help, "    "+c.name+" ") {
				t.Errorf("help lacks %s", c.name)
			}
			if c.describe() == "" {
				t.Errorf("%s is not described", c.name)
			}
		}
	}
}

// What the service refuses is told with the row's own column and cell.
func TestExplainNamesTheColumn(t *testing.T) {
	l := read(t, "date,weight_lb,intake_kj,activity_kcal,lift,load_lb,reps,body_fat_pct,body_fat_method,marks,refeed_kcal,note\n"+
		"2025-01-31,180,8000,100,squat,100,5,20,dxa,refeed,2500,hi\n", "t-a")
	if len(l.Refused) > 0 {
		t.Fatal(problems(l))
	}
	items := l.Parts[0].Items
	for _, c := range []struct {
		item        int
		field, want string
	}{
		{0, "weigh_in.weight", "line 2: weight_lb: no (got 180)"},
		{0, "weigh_in.weight.unit", "line 2: weight_lb: no (got 180)"},
		{0, "entry.weigh_in.weight.value", "line 2: weight_lb: no (got 180)"},
		{0, "date", "line 2: date: no (got 2025-01-31)"},
		{0, "weigh_in.minute_of_day", "line 2: minute_of_day: no"},
		{1, "intake.energy", "line 2: intake_kj: no (got 8000)"},
		{2, "activity.energy.value", "line 2: activity_kcal: no (got 100)"},
		{3, "lift_set.load.value", "line 2: load_lb: no (got 100)"},
		{3, "lift_set.reps", "line 2: reps: no (got 5)"},
		{4, "body_fat.method", "line 2: body_fat_method: no (got dxa)"},
		{5, "mark.target_kcal", "line 2: refeed_kcal: no (got 2500)"},
		{5, "mark.of", "line 2: marks: no (got refeed)"},
		{5, "something.new", "line 2: something.new: no"},
	} {
		if got := l.Explain(items[c.item], c.field, "no").String(); got != c.want {
			t.Errorf("%s: got %q, want %q", c.field, got, c.want)
		}
	}
}
