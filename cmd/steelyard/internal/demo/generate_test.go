package demo

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

var update = flag.Bool("update", false, "write the logs of the demo anew")

// demoDir is where the scenario is kept.
const demoDir = "../../../../testdata/demo"

// TestGenerate lets invented bodies live under the decisions that the engine
// makes at each review, and compares the logs that they keep with those that the
// demo ships. After a change of the engine run
//
//	go test ./cmd/steelyard/internal/demo -run TestGenerate -update
//
// and read the difference.
func TestGenerate(t *testing.T) {
	server := startServer(t)
	for _, l := range lives() {
		t.Run(l.id, func(t *testing.T) {
			sc, err := loadPlan(os.DirFS(demoDir), l.id+".json")
			if err != nil {
				t.Fatal(err)
			}
			got := live(t, NewPlayer(server.Conn), sc, l)
			path := filepath.Join(demoDir, l.id+".csv")
			if *update {
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s is not what the generator writes under the engine's present decisions; run with -update", path)
			}
		})
	}
}

func startServer(t *testing.T) *Server {
	t.Helper()
	s, err := Start(context.Background(), slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// diary is one day of a log.
type diary struct {
	day        time.Time
	weight     string
	marks      string
	refeedKcal string
	intake     string
	protein    string
	steps      string
	waist      string
	checkIn    string // four answers
	sets       []string
}

const diaryHeader = "date,weight_kg,intake_kcal,protein_g,steps,marks,refeed_kcal,waist_cm,hunger_ease,energy,sleep,training_drive,lift,load_kg,reps,reps_in_reserve"

func (d diary) write(b *bytes.Buffer) {
	date := d.day.Format(time.DateOnly)
	checkIn := d.checkIn
	if checkIn == "" {
		checkIn = ",,,"
	}
	row := strings.Join([]string{date, d.weight, d.intake, d.protein, d.steps, d.marks, d.refeedKcal, d.waist, checkIn}, ",")
	if row != date+strings.Repeat(",", 11) {
		b.WriteString(row + ",,,,\n")
	}
	for _, s := range d.sets {
		b.WriteString(date + strings.Repeat(",", 12) + s + "\n")
	}
}

// live plays one trainee: the log grows day by day, and at each question the
// server knows what the trainee has logged by that morning.
func live(t *testing.T, p Player, sc Scenario, l life) []byte {
	t.Helper()
	ctx := context.Background()
	if err := p.Enter(ctx, sc); err != nil {
		t.Fatal(err)
	}
	b := l.body
	b.rng = rand.New(rand.NewPCG(l.seed, 2025))
	b.firstKg = b.tissueKg
	start := fromDate(sc.Plan.GetStartDate())
	var days []diary
	target := &steelyardv1.Target{IntakeKcal: l.before}

	evening := func() { // of the last day in the diary
		d := &days[len(days)-1]
		n := int(d.day.Sub(start).Hours()/24) + 1
		w := l.on(n)
		kcal := b.eats(target.GetIntakeKcal(), w.over, d.day)
		if w.refeedKcal > 0 {
			kcal = w.refeedKcal * (1 + 0.02*b.rng.NormFloat64())
			b.spikeKg += 0.7
		}
		missed := b.rng.Float64() < b.missesLog
		steps := math.Round((l.steps+target.GetActivityKcal()*25+600*b.rng.NormFloat64())/100) * 100
		if !w.silent {
			if !missed {
				d.intake = fmt.Sprintf("%.0f", math.Round(kcal*(1-b.hidden)/10)*10)
				d.protein = fmt.Sprintf("%.0f", math.Round(1.9*b.firstKg*(1+0.08*b.rng.NormFloat64())))
			}
			d.steps = fmt.Sprintf("%.0f", max(steps, 0))
			if d.day.Weekday() == time.Tuesday {
				for set := range 3 {
					d.sets = append(d.sets, fmt.Sprintf("%s,%.1f,%d,%d", l.lift, l.load+2.5*float64(n/28), 8-set, 2-set/2))
				}
			}
		}
		b.live(kcal, target.GetActivityKcal(), w.workKcal)
	}
	morning := func(day time.Time) {
		d := diary{day: day}
		n := int(day.Sub(start).Hours()/24) + 1
		w := l.on(n)
		kg := b.morning() + w.typoKg
		missed := b.rng.Float64() < b.missesWeigh
		if !w.silent {
			d.marks = w.marks
			if w.refeedKcal > 0 {
				d.refeedKcal = fmt.Sprintf("%.0f", w.refeedKcal)
			}
			if !missed || w.typoKg != 0 {
				d.weight = fmt.Sprintf("%.1f", kg)
			}
			if day.Weekday() == time.Sunday {
				d.waist = fmt.Sprintf("%.1f", l.waist+0.9*(b.tissueKg-b.firstKg)+0.3*b.rng.NormFloat64())
				d.checkIn = fmt.Sprintf("%d,%d,%d,%d", 3+b.rng.IntN(2), 3+b.rng.IntN(2), 3+b.rng.IntN(3), 3+b.rng.IntN(3))
			}
		}
		days = append(days, d)
	}
	until := func(day time.Time) {
		if len(days) == 0 {
			morning(start)
		}
		for last := days[len(days)-1].day; last.Before(day); last = last.AddDate(0, 0, 1) {
			evening()
			morning(last.AddDate(0, 0, 1))
		}
	}
	text := func() []byte {
		var out bytes.Buffer
		out.WriteString(diaryHeader + "\n")
		for _, d := range days {
			d.write(&out)
		}
		return out.Bytes()
	}
	err := p.Walk(ctx, sc, func(day time.Time) error {
		until(day)
		log, err := logcsv.Read(bytes.NewReader(text()), sc.TraineeID)
		if err != nil {
			return err
		}
		sc.Log = log
		return p.Backfill(ctx, sc)
	}, func(v Visit) error {
		if v.Decided != nil {
			target = v.Decided.GetTarget()
		}
		t.Logf("%s", strings.Join([]string{v.Day.Format(time.DateOnly), v.Given.GetAction().String(), v.Given.GetHeadline()}, " | "))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	until(sc.LastDay)
	return text()
}
