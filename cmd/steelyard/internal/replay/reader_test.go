package replay

import (
	"fmt"
	"strings"
	"testing"
)

const someProfiles = "trainee,sex,age,height_cm,maintenance_guess_kcal\na,male,40,180,2500\nb,female,30,165,\n"

func TestBadProfiles(t *testing.T) {
	for _, c := range []struct{ table, want string }{
		{"", "line 1: the header row is missing"},
		{"name\na\n", `line 1: unknown column "name"; there are trainee, sex, age, height_cm, maintenance_guess_kcal`},
		{"trainee,trainee\na,b\n", "line 1: column trainee stands twice"},
		{"sex,age\nmale,4\n", "line 1: there is no column trainee"},
		{"trainee,sex\na,male\nb,cat\n", "line 3: sex: must be female or male (got cat)"},
		{"trainee,sex\na,male\n\nb,male,4\n", "line 4: has 3 cells, but the header has 2"},
		{"trainee,age\na,forty\n", "line 2: age: must be a number (got forty)"},
		{"trainee,age\na,0\n", "line 2: age: must be from 1 to 120 years (got 0)"},
		{"trainee,height_cm\na,1.80\n", "line 2: height_cm: must be from 100 to 250 cm (got 1.80)"},
		{"trainee,maintenance_guess_kcal\na,10000\n", "line 2: maintenance_guess_kcal: must be from 800 to 8000 kcal a day (got 10000)"},
		{"trainee,maintenance_guess_kcal\na,\"2,5\"\n", "line 2: maintenance_guess_kcal: must be a number with a point for decimals (got 2,5)"},
		{"trainee\na\nb\n a \n", "line 4: trainee: the same as on line 2"},
		{"trainee,sex\n,male\n", "line 2: trainee: is missing"},
		{"trainee\n\"a\tb\"\n", "line 2: trainee: must be plain text of at most 200 bytes"},
		{"trainee\n\"a\n", "line 2: a quote is misplaced or not closed"},
		{"trainee,sex,age\na,dog,x\n", "line 2: sex: must be female or male (got dog)\nline 2: age: must be a number (got x)"},
	} {
		got, err := ReadProfiles(strings.NewReader(c.table))
		if fmt.Sprint(err) != c.want {
			t.Errorf("%q: %v, want %s (%v)", c.table, err, c.want, got)
		}
	}
}

func TestBadLogs(t *testing.T) {
	long := strings.Repeat("x", 500)
	for _, c := range []struct{ table, want string }{
		{"", "line 1: the header row is missing"},
		{"trainee\na\n", "line 1: there is no column date"},
		{"date,weight_kg\n2025-01-01,80\n", "line 1: there is no column trainee"},
		{"trainee,date,weight\na,2025-01-01,80\n", `line 1: unknown column "weight"; there are ` + strings.Join(logColumns, ", ")},
		{"trainee,date," + long + "\n", `line 1: unknown column "` + long[:40] + `..."; there are ` + strings.Join(logColumns, ", ")},
		{"trainee,date\na,2025-01-01\nc,2025-01-01\n", "line 3: trainee: has no profile (got c)"},
		{"trainee,date\na,2025-02-30\n", "line 2: date: must be a calendar day of the form 2025-01-31 (got 2025-02-30)"},
		{"trainee,date\na,01/02/2025\na,\n", "line 2: date: must be a calendar day of the form 2025-01-31 (got 01/02/2025)\nline 3: date: is missing"},
		{"trainee,date,weight_kg\na,2025-01-01,nan\n", "line 2: weight_kg: must be a number (got nan)"},
		{"trainee,date,weight_kg\na,2025-01-01,0x50\n", "line 2: weight_kg: must be a number (got 0x50)"},
		{"trainee,date,weight_kg\na,2025-01-01,1e999\n", "line 2: weight_kg: must be from 1 to 9999 kg (got 1e999)"},
		{"trainee,date,weight_kg\na,2025-01-01,0\n", "line 2: weight_kg: must be from 1 to 9999 kg (got 0)"},
		{"trainee,date,weight_kg\na,2025-01-01,-80\n", "line 2: weight_kg: must be from 1 to 9999 kg (got -80)"},
		{"trainee,date,intake_kcal\na,2025-01-01,-1\n", "line 2: intake_kcal: must be from 0 to 20000 kcal (got -1)"},
		{"trainee,date,steps\na,2025-01-01,many\n", "line 2: steps: must be a number (got many)"},
		{"trainee,date,target_kcal\na,2025-01-01,25000\n", "line 2: target_kcal: must be from 0 to 20000 kcal (got 25000)"},
		{"trainee,date,activity_target_kcal\na,2025-01-01,-1\n", "line 2: activity_target_kcal: must be from 0 to 10000 kcal (got -1)"},
		{"trainee,date,refeed_kcal\na,2025-01-01,0\n", "line 2: refeed_kcal: must be from 1 to 20000 kcal (got 0)"},
		{"trainee,date,marks\na,2025-01-01,travel;party\n", "line 2: marks: must be salty_meal, illness, travel or period_start, joined by ';' (got travel;party)"},
		{"trainee,date,marks\na,2025-01-01,travel;\n", "line 2: marks: must be salty_meal, illness, travel or period_start, joined by ';' (got travel;)"},
		{"trainee,date\na,2025-01-01\nb,2025-01-01\na,2025-01-02\na,2025-01-01\n", "line 5: date: the same trainee and day as on line 2"},
		{"trainee,date\na,2025-01-01\na,2003-01-01\n", "line 2: date: lies 8000 days or more after that of line 3"},
		{"trainee,date,weight_kg\na,2025-01-01,80\na,2025-01-02\n", "line 3: has 2 cells, but the header has 3"},
		{"trainee,date,weight_kg\na,2025-01-01,8\"0\n", "line 2: a quote is misplaced or not closed"},
	} {
		trainees, err := ReadProfiles(strings.NewReader(someProfiles))
		if err != nil {
			t.Fatal(err)
		}
		if err := ReadLogs(strings.NewReader(c.table), trainees); fmt.Sprint(err) != c.want {
			t.Errorf("%q:\n%v\nwant\n%s", c.table, err, c.want)
		}
	}
}

// A log that is wrong all over is not told line by line for ever.
func TestManyProblemsAreCounted(t *testing.T) {
	trainees, _ := ReadProfiles(strings.NewReader(someProfiles))
	err := ReadLogs(strings.NewReader("trainee,date\n"+strings.Repeat("c,2025-01-01\n", 1000)), trainees)
	lines := strings.Split(fmt.Sprint(err), "\n")
	if len(lines) != mostProblems+1 || lines[mostProblems] != "and 980 more" {
		t.Errorf("%d lines, the last %q", len(lines), lines[len(lines)-1])
	}
}

// FuzzTables throws any two tables at it: an error or rows, and never a panic.
func FuzzTables(f *testing.F) {
	f.Add(someProfiles, logHeader+"a,2025-01-01,80,2500,,2500,,,\na,2025-01-04,80,2500,,2500,,,travel\n")
	f.Add("trainee\n\"a,\n\"\n", "trainee,date\n\"a,\n\",2025-01-01\n")
	f.Fuzz(func(t *testing.T, profiles, logs string) {
		trainees, err := ReadProfiles(strings.NewReader(profiles))
		if err != nil || ReadLogs(strings.NewReader(logs), trainees) != nil {
			return
		}
		days := 0
		for _, x := range trainees {
			if n := len(x.rows); n > 0 {
				days += int(x.rows[n-1].day-x.rows[0].day) + 1
			}
		}
		var out strings.Builder
		if rows, err := Write(t.Context(), &out, trainees, 1, nil); err != nil || rows != days {
			t.Fatalf("%d rows of %d days, %v", rows, days, err)
		}
		if strings.Contains(out.String(), "NaN") || strings.Contains(out.String(), "Inf") {
			t.Fatal("a number that is none")
		}
	})
}
