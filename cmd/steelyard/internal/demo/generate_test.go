package demo

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

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
			got := live(t, NewPlayer(server.Conn), sc, newLiving(l, sc))
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

// live plays one trainee: the log grows day by day, and at each question the
// server knows what the trainee has logged by that morning.
func live(t *testing.T, p Player, sc Scenario, l *living) []byte {
	t.Helper()
	ctx := context.Background()
	if err := p.Enter(ctx, sc); err != nil {
		t.Fatal(err)
	}
	err := p.Walk(ctx, sc, func(day time.Time) error {
		l.until(day)
		log, err := logcsv.Read(bytes.NewReader(diaryText(l.days)), sc.TraineeID)
		if err != nil {
			return err
		}
		sc.Log = log
		return p.Backfill(ctx, sc)
	}, func(v Visit) error {
		if v.Decided != nil {
			l.decided(v.Decided)
		}
		checkTruth(t, v, &l.body)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	l.until(sc.LastDay)
	return diaryText(l.days)
}

// checkTruth holds an estimate against the body, which the engine cannot see:
// its tissue, without the water that comes and goes.
func checkTruth(t *testing.T, v Visit, b *body) {
	t.Helper()
	e, about := v.Given.GetEstimate(), fmt.Sprintf("%s, day %d, %s", v.Day.Format(time.DateOnly), v.Given.GetPlanDay(), v.Given.GetAction())
	if e == nil {
		t.Logf("%s: %s", about, v.Given.GetHeadline())
		return
	}
	t.Logf("%s: trend %.2f kg, truly %.2f. %s", about, e.GetTrendWeightKg(), b.tissueKg, v.Given.GetHeadline())
	if off := math.Abs(e.GetTrendWeightKg() - b.tissueKg); off > trendWithinKg {
		t.Errorf("%s: the trend of %.2f kg is off by %.2f", about, e.GetTrendWeightKg(), off)
	}
}

// trendWithinKg is how near the trend has to be to the invented truth.
const trendWithinKg = 0.8
