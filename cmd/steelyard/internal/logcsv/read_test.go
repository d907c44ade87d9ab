package logcsv

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
)

func read(t *testing.T, text, trainee string) *Log {
	t.Helper()
	l, err := Read(strings.NewReader(text), trainee)
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	return l
}

func problems(l *Log) []string {
	var out []string
	for _, p := range l.Refused {
		out = append(out, p.String())
	}
	return out
}

func ptr[T any](v T) *T { return &v }

func kg(v float64) *pb.Mass { return &pb.Mass{Value: v, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM} }
func kcal(v float64) *pb.Energy {
	return &pb.Energy{Value: v, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}
}

func TestOneRowOfEveryKind(t *testing.T) {
	header := "trainee,date,key,note,weight_lb,minute_of_day,intake_kj,protein_g,carbohydrate_g,fat_g,sodium_mg,partial," +
		"steps,activity_kj,activity_minutes,lift,load_lb,reps,reps_in_reserve," +
		"waist_cm,abdomen_cm,hip_cm,neck_cm,chest_cm,thigh_cm,upper_arm_cm,body_fat_pct,body_fat_method," +
		"hunger_ease,energy,sleep,training_drive,was_slog,marks,refeed_kcal\n"
	row := "t-a,2025-01-31,am,hello,180.5,390,8368,120,200,60,2300,yes," +
		"9000,418.4,45.5,back-squat,225,5,2.5," +
		"80,85,95,38,100,55,33,18.5,calipers," +
		"1,2,3,4,no,refeed; salty_meal,2800\n"
	l := read(t, header+row, "")
	if len(l.Refused) > 0 {
		t.Fatalf("refused: %v", problems(l))
	}
	day := &date.Date{Year: 2025, Month: 1, Day: 31}
	want := []*pb.Entry{
		{Date: day, Key: "am", Note: "hello", Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{
			Weight: &pb.Mass{Value: 180.5, Unit: pb.MassUnit_MASS_UNIT_POUND}, MinuteOfDay: ptr[int32](390)}}},
		{Date: day, Key: "am", Fact: &pb.Entry_Intake{Intake: &pb.Intake{
			Energy:   &pb.Energy{Value: 8368, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOJOULE},
			ProteinG: ptr(120.), CarbohydrateG: ptr(200.), FatG: ptr(60.), SodiumMg: ptr(2300.), IsPartial: true}}},
		{Date: day, Key: "am", Fact: &pb.Entry_Activity{Activity: &pb.Activity{
			Steps: ptr[int32](9000), Energy: &pb.Energy{Value: 418.4, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOJOULE}, Minutes: ptr(45.5)}}},
		{Date: day, Key: "am", Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
			Lift: "back-squat", Load: &pb.Mass{Value: 225, Unit: pb.MassUnit_MASS_UNIT_POUND}, Reps: 5, RepsInReserve: ptr(2.5)}}},
		{Date: day, Key: "am", Fact: &pb.Entry_Tape{Tape: &pb.Tape{
			WaistCm: ptr(80.), AbdomenCm: ptr(85.), HipCm: ptr(95.), NeckCm: ptr(38.), ChestCm: ptr(100.), ThighCm: ptr(55.), UpperArmCm: ptr(33.)}}},
		{Date: day, Key: "am", Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{
			BodyFatPct: 18.5, Method: pb.BodyFatMethod_BODY_FAT_METHOD_CALIPERS}}},
		{Date: day, Key: "am", Fact: &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{
			HungerEase: ptr[int32](1), Energy: ptr[int32](2), Sleep: ptr[int32](3), TrainingDrive: ptr[int32](4), WasSlog: ptr(false)}}},
		{Date: day, Key: "refeed", Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_REFEED, TargetKcal: ptr(2800.)}}},
		{Date: day, Key: "salty-meal", Fact: &pb.Entry_Mark{Mark: &pb.Mark{Of: pb.MarkKind_MARK_KIND_SALTY_MEAL}}},
	}
	if d := cmp.Diff(want, l.Parts[0].Entries(), protocmp.Transform()); d != "" {
		t.Error(d)
	}
	// The header above holds every column but the alternatives of a unit.
	for _, g := range groups {
		for _, c := range g.columns {
			switch c.name {
			case "weight_kg", "weight_st", "intake_kcal", "activity_kcal", "load_kg":
			default:
				if !strings.Contains(","+strings.TrimSpace(header)+",", ","+c.name+",") {
					t.Errorf("column %s is not tried here", c.name)
				}
			}
		}
	}
}

func TestUnitsOfTheOtherColumns(t *testing.T) {
	l := read(t, "date,weight_kg,weight_st,intake_kcal,activity_kcal,lift,load_kg,reps\n"+
		"2025-01-01,81.4,,2000,150,row,60,8\n2025-01-02,,12.5,,,,,\n", "t-a")
	if len(l.Refused) > 0 {
		t.Fatal(problems(l))
	}
	e := l.Parts[0].Entries()
	for i, want := range []*pb.Entry{
		{Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: kg(81.4)}}},
		{Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: kcal(2000)}}},
		{Fact: &pb.Entry_Activity{Activity: &pb.Activity{Energy: kcal(150)}}},
		{Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: "row", Load: kg(60), Reps: 8}}},
		{Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 12.5, Unit: pb.MassUnit_MASS_UNIT_STONE}}}},
	} {
		e[i].Date, e[i].Key = nil, ""
		if d := cmp.Diff(want, e[i], protocmp.Transform()); d != "" {
			t.Error(d)
		}
	}
}

func TestPlainMessages(t *testing.T) {
	header := "trainee,date,key,note,weight_kg,weight_lb,minute_of_day,intake_kcal,protein_g,partial,steps,lift,load_kg,reps,body_fat_pct,body_fat_method,sleep,marks,refeed_kcal\n"
	cell := func(pairs ...string) string {
		names := strings.Split(strings.TrimSpace(header), ",")
		cells := make([]string, len(names))
		cells[0], cells[1] = "t-a", "2025-02-01"
		for i := 0; i < len(pairs); i += 2 {
			for j, n := range names {
				if n == pairs[i] {
					cells[j] = pairs[i+1]
				}
			}
		}
		return strings.Join(cells, ",") + "\n"
	}
	for _, c := range []struct {
		row  string
		want []string
	}{
		{cell("weight_kg", "815"), []string{"line 2: weight_kg: must be from 20 to 400 kg (got 815)"}},
		{cell("weight_lb", "1800"), []string{"line 2: weight_lb: must be from 20 to 400 kg (got 1800 lb)"}},
		{cell("weight_kg", "\"81,5\""), []string{"line 2: weight_kg: must be a number, with a point for decimals (got 81,5)"}},
		{cell("weight_kg", "NaN"), []string{"line 2: weight_kg: must be a number (got NaN)"}},
		{cell("weight_kg", "1e2"), []string{"line 2: weight_kg: must be a number (got 1e2)"}},
		{cell("weight_kg", "80", "weight_lb", "170"), []string{"line 2: weight_lb: give weight_kg or weight_lb, not both"}},
		{cell("weight_kg", "-0.5", "date", "2025-02-30"), []string{
			"line 2: date: must be a calendar day of the form 2025-01-31 (got 2025-02-30)",
			"line 2: weight_kg: must be from 20 to 400 kg (got -0.5)"}},
		{cell("weight_kg", "80", "date", ""), []string{"line 2: date: is missing"}},
		{cell("weight_kg", "80", "date", "1969-12-31"), []string{"line 2: date: must not lie before 1970-01-01 (got 1969-12-31)"}},
		{cell("weight_kg", "80", "trainee", "Anna!"), []string{"line 2: trainee: must be lower-case letters, digits and hyphens, 1 to 63 (got Anna!)"}},
		{cell("weight_kg", "80", "trainee", ""), []string{"line 2: trainee: is missing"}},
		{cell("weight_kg", "80", "key", "A b"), []string{"line 2: key: must be lower-case letters, digits and hyphens, at most 40 (got A b)"}},
		{cell("minute_of_day", "300"), []string{"line 2: minute_of_day: needs a weight in the same row"}},
		{cell("weight_kg", "80", "minute_of_day", "1440"), []string{"line 2: minute_of_day: must be a whole number from 0 to 1439 (got 1440)"}},
		{cell("steps", "1.5"), []string{"line 2: steps: must be a whole number from 0 to 200000 (got 1.5)"}},
		{cell("protein_g", "100"), []string{"line 2: protein_g: needs intake_kcal or intake_kj in the same row"}},
		{cell("intake_kcal", "2000", "partial", "maybe"), []string{"line 2: partial: must be yes or no (got maybe)"}},
		{cell("reps", "5"), []string{"line 2: reps: needs a lift in the same row"}},
		{cell("lift", "squat"), []string{"line 2: load_kg: is missing; 0 for body weight alone", "line 2: reps: is missing"}},
		{cell("lift", "Squat", "load_kg", "60", "reps", "5"), []string{"line 2: lift: must be lower-case letters, digits and hyphens, at most 40 (got Squat)"}},
		{cell("lift", strings.Repeat("x", 39), "load_kg", "60", "reps", "5"), []string{"line 2: lift: is too long to number its sets; shorten it or give each set a key"}},
		{cell("body_fat_pct", "20"), []string{"line 2: body_fat_method: is missing"}},
		{cell("body_fat_pct", "20", "body_fat_method", "guess"), []string{"line 2: body_fat_method: must be one of dxa, calipers, impedance, tape, visual (got guess)"}},
		{cell("body_fat_method", "dxa"), []string{"line 2: body_fat_method: needs body_fat_pct in the same row"}},
		{cell("sleep", "6"), []string{"line 2: sleep: must be a whole number from 1 to 5 (got 6)"}},
		{cell("marks", "refeed;holiday"), []string{"line 2: marks: must be one of refeed, salty_meal, illness, travel, period_start, fainting, palpitations, missed_period (got holiday)"}},
		{cell("marks", "unspecified"), []string{"line 2: marks: must be one of refeed, salty_meal, illness, travel, period_start, fainting, palpitations, missed_period (got unspecified)"}},
		{cell("marks", "refeed;"), []string{"line 2: marks: has an empty mark between two ';' (got refeed;)"}},
		{cell("marks", "refeed;refeed"), []string{"line 2: the same mark twice"}},
		{cell("refeed_kcal", "2500"), []string{"line 2: refeed_kcal: needs the mark refeed in the same row"}},
		{cell("note", "slept badly"), []string{"line 2: note: needs something to log in the same row"}},
		{cell("weight_kg", "80", "note", strings.Repeat("n", 501)), []string{"line 2: note: must be at most 500 characters (got " + strings.Repeat("n", 40) + "...)"}},
		{cell("weight_kg", "80") + cell("weight_kg", "81"), []string{"line 3: the same weigh-in of 2025-02-01 as on line 2; a key of its own tells two apart"}},
		{cell("weight_kg", "80") + cell("weight_kg", "81", "key", "1"), []string{"line 3: the same weigh-in of 2025-02-01 as on line 2; a key of its own tells two apart"}},
		{cell(), nil},
	} {
		l := read(t, header+c.row, "")
		if d := cmp.Diff(c.want, problems(l)); d != "" {
			t.Errorf("%s%s", c.row, d)
		}
	}
}

func TestOneBadCellRefusesItsRowOnly(t *testing.T) {
	l := read(t, "date,weight_kg,intake_kcal\n2025-01-01,81,2000\n2025-01-02,815,2000\n2025-01-03,80.8,\n\n2025-01-04,,\n", "t-a")
	if d := cmp.Diff([]string{"line 3: weight_kg: must be from 20 to 400 kg (got 815)"}, problems(l)); d != "" {
		t.Error(d)
	}
	var lines []int
	for _, it := range l.Parts[0].Items {
		lines = append(lines, it.Line)
	}
	if d := cmp.Diff([]int{2, 2, 4}, lines); d != "" {
		t.Error(d)
	}
	if l.Rows != 4 {
		t.Errorf("rows = %d, want 4", l.Rows)
	}
}

func TestSetsAreCountedInFileOrder(t *testing.T) {
	l := read(t, "trainee,date,lift,load_kg,reps\n"+
		"t-a,2025-01-01,squat,100,5\n"+
		"t-a,2025-01-01,press,50,5\n"+
		"t-a,2025-01-01,squat,100,0\n"+ // refused, and counted all the same
		"t-a,2025-01-01,squat,100,4\n"+
		"t-b,2025-01-01,squat,60,5\n"+
		"t-a,2025-01-02,squat,100,5\n", "")
	got := map[string][]string{}
	for _, p := range l.Parts {
		for _, e := range p.Entries() {
			got[p.Trainee] = append(got[p.Trainee], fmt.Sprintf("%d %s", e.GetDate().GetDay(), e.GetKey()))
		}
	}
	want := map[string][]string{"t-a": {"1 squat-1", "1 press-1", "1 squat-3", "2 squat-1"}, "t-b": {"1 squat-1"}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestTraineeOfTheFlagStandsIn(t *testing.T) {
	l := read(t, "trainee,date,weight_kg\n,2025-01-01,80\nt-b,2025-01-01,90\n,2025-01-02,80\n", "t-a")
	if len(l.Parts) != 2 || l.Parts[0].Trainee != "t-a" || len(l.Parts[0].Items) != 2 || l.Parts[1].Trainee != "t-b" {
		t.Errorf("parts = %+v", l.Parts)
	}
}

func TestMarkAndLineEndingsDoNotMatter(t *testing.T) {
	plain := "date,weight_kg\n2025-01-01,80\n2025-01-02,81\n"
	want := read(t, plain, "t-a")
	for name, text := range map[string]string{
		"byte order mark": "\ufeff" + plain,
		"CRLF":            strings.ReplaceAll(plain, "\n", "\r\n"),
		"both":            "\ufeff" + strings.ReplaceAll(plain, "\n", "\r\n"),
		"no last newline": strings.TrimSuffix(plain, "\n"),
		"spaces":          strings.ReplaceAll(plain, ",", " , "),
		"quotes":          strings.ReplaceAll(plain, "80", `"80"`),
	} {
		got := read(t, text, "t-a")
		if d := cmp.Diff(want.Parts[0].Entries(), got.Parts[0].Entries(), protocmp.Transform()); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		sum := sha256.Sum256([]byte(text))
		if got.SHA256 != hex.EncodeToString(sum[:]) {
			t.Errorf("%s: SHA256 is not that of all bytes", name)
		}
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	for _, c := range []struct{ text, trainee, want string }{
		{"", "t-a", "line 1: the header row is missing"},
		{"date,weight_kg,calories\n", "t-a", `line 1: unknown column "calories"`},
		{"Date,weight_kg\n", "t-a", `line 1: unknown column "Date"`},
		{"date,date\n", "t-a", `line 1: column "date" stands twice`},
		{"weight_kg\n80\n", "t-a", "line 1: there is no column date"},
		{"date,weight_kg\n2025-01-01,80\n", "", "line 1: there is no column trainee; name the trainee with --trainee"},
		{"date,weight_kg\n2025-01-01,80\n2025-01-02,80,3\n", "t-a", "line 3: has 3 cells, but the header has 2"},
		{"date,weight_kg\n2025-01-01,80\n2025-01-02\n", "t-a", "line 3: has 1 cells, but the header has 2"},
		{"date,weight_kg\n2025-01-01,\"80\n2025-01-02,80\n", "t-a", "line 2: a quote is misplaced or not closed"},
		{"date,note,weight_kg\n2025-01-01,caf\xe9,80\n", "t-a", "line 2: is not UTF-8 text"},
		{"\xff\xfed\x00a\x00", "t-a", "line 1: is not UTF-8 text"},
	} {
		l, err := Read(strings.NewReader(c.text), c.trainee)
		if err == nil || err.Error() != c.want || l != nil {
			t.Errorf("%q: got %v, want %q", c.text, err, c.want)
		}
	}
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '\n'
	}
	return len(p), nil
}

func TestAnEndlessFileIsRefused(t *testing.T) {
	if _, err := Read(endless{}, "t-a"); err == nil || !strings.Contains(err.Error(), "longer than 64 MiB") {
		t.Errorf("got %v", err)
	}
}
