package service_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/uuid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// TestRealSeries sends every real weight series of a folder through the backfill
// stream and asks for its trend. The folder holds CSV files with the columns
// date and weight_kg; it is given by STEELYARD_REAL_SERIES and never committed.
func TestRealSeries(t *testing.T) {
	folder := os.Getenv("STEELYARD_REAL_SERIES")
	if folder == "" {
		t.Skip("STEELYARD_REAL_SERIES is not set: no real series to try")
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no CSV file in %s (%v)", folder, err)
	}
	r := start(t)
	for i, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			days, kg := readSeries(t, file)
			id := "real-" + strconv.Itoa(i)
			r.trainee(id)
			stored := r.backfill(t, id, days, kg)
			if stored != len(days) {
				t.Errorf("stored %d of %d readings", stored, len(days))
			}
			last := convert.DayToProto(days[len(days)-1])
			trend, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{
				Name: "trainees/" + id + "/weightTrend", StartDate: convert.DayToProto(days[0]), EndDate: last,
			})
			if err != nil {
				t.Fatal(err)
			}
			checkTrend(t, trend, days, kg)
			b, err := r.trends().GetEnergyBalance(r.ctx(), &pb.GetEnergyBalanceRequest{Name: "trainees/" + id + "/energyBalance", AsOfDate: last})
			if err != nil || b.GetEstimate() == nil {
				t.Fatalf("no estimate: %v, %v", b.GetWhyAbsent(), err)
			}
			e := b.GetEstimate()
			if m := e.GetMaintenanceKcal(); m < 1200 || m > 5000 {
				t.Errorf("maintenance %.0f kcal/d", m)
			}
			t.Logf("%d readings over %d days, %d refused; trend %.2f±%.2f kg, rate %.2f [%.2f, %.2f] %%/week",
				len(days), int(days[len(days)-1]-days[0])+1, len(e.GetRefusedReadings()), e.GetTrendWeightKg(), e.GetTrendWeightSdKg(),
				e.GetRatePctPerWeek(), e.GetRate_80().GetLow(), e.GetRate_80().GetHigh())
		})
	}
}

// checkTrend: one point a day, every reading where it was made, and a trend that
// stays as near to the readings as a body does.
func checkTrend(t *testing.T, trend *pb.WeightTrend, days []engine.Day, kg []float64) {
	t.Helper()
	span := int(days[len(days)-1]-days[0]) + 1
	if len(trend.GetPoints()) != span || len(trend.GetCautions()) == 0 {
		t.Fatalf("%d points for %d days, %d cautions", len(trend.GetPoints()), span, len(trend.GetCautions()))
	}
	refused, far := 0, 0
	for i, d := range days {
		p := trend.GetPoints()[d-days[0]]
		if p.GetReadingKg() != kg[i] {
			t.Errorf("%s: reading %v, want %v", d, p.GetReadingKg(), kg[i])
		}
		if p.GetRefusedReason() != "" {
			refused++
		}
		if p.TrendWeightKg != nil && (p.GetTrendWeightKg()-kg[i] > 3 || kg[i]-p.GetTrendWeightKg() > 3) {
			far++
		}
	}
	// Real readings lie beyond 3 SD in about one of a hundred cases.
	if refused*50 > len(days)+50 || far*20 > len(days) {
		t.Errorf("%d readings refused and %d more than 3 kg off the trend, of %d", refused, far, len(days))
	}
}

func (r *running) backfill(t *testing.T, trainee string, days []engine.Day, kg []float64) int {
	t.Helper()
	stream, err := r.logbook().BackfillEntries(r.ctx())
	if err != nil {
		t.Fatal(err)
	}
	send := func(req *pb.BackfillEntriesRequest) *pb.BackfillEntriesResponse {
		t.Helper()
		if err := stream.Send(req); err != nil {
			t.Fatal(err)
		}
		ack, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		return ack
	}
	ack := send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
		Parent: "trainees/" + trainee, UploadId: uuid.NewString(), ContentSha256: strings.Repeat("0", 64),
	}}})
	const size = 100
	for from := 0; from < len(days); from += size {
		batch := &pb.BackfillBatch{Seq: ack.GetNextSeq()}
		for i := from; i < min(from+size, len(days)); i++ {
			batch.Entries = append(batch.Entries, &pb.Entry{Date: convert.DayToProto(days[i]), Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{
				Weight: &pb.Mass{Value: kg[i], Unit: pb.MassUnit_MASS_UNIT_KILOGRAM},
			}}})
		}
		ack = send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: batch}})
		for _, refused := range ack.GetRefusedEntries() {
			t.Errorf("refused: %v", refused)
		}
	}
	return int(ack.GetCommittedCount())
}

func readSeries(t *testing.T, file string) ([]engine.Day, []float64) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var days []engine.Day
	var kg []float64
	for _, row := range rows[1:] {
		if row[1] == "" {
			continue
		}
		d, err := engine.ParseDay(row[0])
		if err != nil {
			t.Fatal(err)
		}
		w, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		days, kg = append(days, d), append(kg, w)
	}
	return days, kg
}
