//go:build unix

package postgres_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store/postgres/pgtest"
)

const (
	batchEntries = 500
	batches      = 20
	ahead        = 8 // batches under way
)

// caller is a client of the service over a PostgreSQL of its own.
type caller struct {
	ctx    context.Context // carries the credential
	conn   *grpc.ClientConn
	super  *pgx.Conn // whom no policy concerns
	tenant string
}

func startCaller(b *testing.B) *caller {
	b.Helper()
	must := func(err error) {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
	}
	server, err := pgtest.Start()
	must(err)
	b.Cleanup(server.Close)
	must(server.Exec("postgres", `CREATE DATABASE log OWNER `+pgtest.Owner))
	ctx, stop := context.WithCancel(context.Background())
	app, err := service.New(ctx, service.Config{
		KeyPepper: service.Secret(strings.Repeat("p", 64)), KeyRate: 1_000_000,
		StoreURL:      service.Secret(server.SocketURL(pgtest.Runtime, "log")),
		StoreOwnerURL: service.Secret(server.SocketURL(pgtest.Owner, "log")),
		GRPCAddress:   "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0",
	}, service.WithLog(slog.New(slog.NewJSONHandler(io.Discard, nil))))
	must(err)
	ran := make(chan error, 1)
	go func() { ran <- app.Run(ctx) }()
	b.Cleanup(func() { stop(); <-ran; app.Close() })
	c := &caller{tenant: "bench"}
	token, _, err := app.Keyring().Issue(ctx, c.tenant, "bench", access.ScopeNames(), time.Time{})
	must(err)
	c.ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	c.conn, err = grpc.NewClient(app.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	must(err)
	b.Cleanup(func() { c.conn.Close() })
	cfg, err := pgx.ParseConfig(server.SuperURL("log"))
	must(err)
	cfg.RuntimeParams["search_path"] = "steelyard"
	c.super, err = pgx.ConnectConfig(ctx, cfg)
	must(err)
	b.Cleanup(func() { c.super.Close(context.Background()) })
	return c
}

func (c *caller) trainee(b *testing.B) string {
	b.Helper()
	id := uuid.NewString()
	if _, err := pb.NewTraineeServiceClient(c.conn).CreateTrainee(c.ctx, &pb.CreateTraineeRequest{TraineeId: id, Trainee: &pb.Trainee{
		Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4}, HeightCm: proto.Float64(180),
		ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_LOW_ACTIVE,
	}}); err != nil {
		b.Fatal(err)
	}
	return id
}

var firstDay, _ = engine.DayOf(2015, 3, 2)

// messages are keptDays of the log as a caller sends them.
func messages(days int) []*pb.Entry {
	var out []*pb.Entry
	for i := range days {
		on := convert.DayToProto(firstDay + engine.Day(i))
		kg := &pb.Mass{Value: 80 + float64(i%40)/10, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}
		out = append(out,
			&pb.Entry{Date: on, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: kg}}},
			&pb.Entry{Date: on, Fact: &pb.Entry_Intake{Intake: &pb.Intake{
				Energy: &pb.Energy{Value: 1900 + float64(i%300), Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}, ProteinG: proto.Float64(140)}}},
			&pb.Entry{Date: on, Fact: &pb.Entry_Activity{Activity: &pb.Activity{Steps: proto.Int32(9000 + int32(i%500))}}},
			&pb.Entry{Date: on, Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
				Lift: "back-squat", Load: &pb.Mass{Value: 100, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 5}}})
	}
	return out
}

// backfill uploads a log and returns when all of it is on the disk.
func (c *caller) backfill(trainee string, entries []*pb.Entry) error {
	ctx, cancel := context.WithCancel(c.ctx)
	defer cancel()
	stream, err := pb.NewLogbookServiceClient(c.conn).BackfillEntries(ctx)
	if err != nil {
		return err
	}
	if err := stream.Send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
		Parent: "trainees/" + trainee, UploadId: uuid.NewString(), ContentSha256: strings.Repeat("a", 64),
	}}}); err != nil {
		return err
	}
	if _, err := stream.Recv(); err != nil {
		return err
	}
	all := slices.Collect(slices.Chunk(entries, batchEntries))
	for sent, acknowledged := 0, 0; acknowledged < len(all); {
		if sent < len(all) && sent-acknowledged < ahead {
			batch := &pb.BackfillBatch{Seq: int32(sent), Entries: all[sent]}
			if err := stream.Send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: batch}}); err != nil {
				return err
			}
			sent++
			continue
		}
		a, err := stream.Recv()
		if err != nil {
			return err
		}
		if len(a.GetRefusedEntries()) > 0 {
			return fmt.Errorf("refused: %v", a.GetRefusedEntries()[0])
		}
		acknowledged = int(a.GetNextSeq())
	}
	return stream.CloseSend()
}

// rowsOf reads the rows of a trainee's entries as COPY takes them, of another trainee.
func (c *caller) rowsOf(b *testing.B, trainee, other string) [][]any {
	b.Helper()
	found, err := c.super.Query(b.Context(), `SELECT tenant, $2::text, day, kind, key, note, fact FROM entry
WHERE tenant = $1 AND trainee = $3 ORDER BY day, kind, key`, c.tenant, other, trainee)
	if err != nil {
		b.Fatal(err)
	}
	out, err := pgx.CollectRows(found, func(r pgx.CollectableRow) ([]any, error) { return r.Values() })
	if err != nil || len(out) != batches*batchEntries {
		b.Fatalf("%d rows, %v", len(out), err)
	}
	return out
}

func (c *caller) copyRows(b *testing.B, rows [][]any, size int) error {
	for part := range slices.Chunk(rows, size) {
		_, err := c.super.CopyFrom(b.Context(), pgx.Identifier{"entry"},
			[]string{"tenant", "trainee", "day", "kind", "key", "note", "fact"}, pgx.CopyFromRows(part))
		if err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkBackfill uploads a log over gRPC, durable when acknowledged and rolled up,
// to a trainee who has none and then once more. It gives how many entries a second that
// is as a share of what COPY stores of the same rows in the same table and nothing else,
// by a superuser: in batches of the same size, and in one piece.
func BenchmarkBackfill(b *testing.B) {
	c := startCaller(b)
	entries := messages(batches * batchEntries / 4)
	took := map[string][]float64{}
	timed := func(name string, f func() error) {
		start := time.Now()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		took[name] = append(took[name], time.Since(start).Seconds())
	}
	for b.Loop() {
		trainee := c.trainee(b)
		timed("backfill", func() error { return c.backfill(trainee, entries) })
		timed("again", func() error { return c.backfill(trainee, entries) })
		inBatches, whole := c.rowsOf(b, trainee, uuid.NewString()), c.rowsOf(b, trainee, uuid.NewString())
		timed("copy", func() error { return c.copyRows(b, inBatches, batchEntries) })
		timed("one-copy", func() error { return c.copyRows(b, whole, len(whole)) })
	}
	share := func(of, base string) float64 {
		var ratios []float64
		for i := range took[of] {
			ratios = append(ratios, took[base][i]/took[of][i])
		}
		slices.Sort(ratios)
		return ratios[len(ratios)/2]
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(share("backfill", "copy"), "backfill/copy(min:0.9)")
	b.ReportMetric(share("again", "copy"), "again/copy(min:0.7)")
	b.ReportMetric(share("backfill", "one-copy"), "backfill/one-copy(min:0.65)")
	b.ReportMetric(share("one-copy", "copy"), "one-copy/copy")
	slices.Sort(took["copy"])
	b.ReportMetric(float64(len(entries))/took["copy"][len(took["copy"])/2], "copied-entries/s")
}

// BenchmarkRecommend asks for a recommendation over gRPC when nothing has changed, and
// after a write, which nobody has looked at since; and gives the medians' ratio.
func BenchmarkRecommend(b *testing.B) {
	c := startCaller(b)
	const days = 90
	name := "trainees/" + c.trainee(b)
	log, phases := pb.NewLogbookServiceClient(c.conn), pb.NewPhaseServiceClient(c.conn)
	if _, err := phases.CreatePlan(c.ctx, &pb.CreatePlanRequest{Parent: name, PlanId: "p", Plan: &pb.Plan{StartDate: convert.DayToProto(firstDay)}}); err != nil {
		b.Fatal(err)
	}
	entries := messages(days)
	if _, err := log.BatchCreateEntries(c.ctx, &pb.BatchCreateEntriesRequest{Parent: name, Entries: entries}); err != nil {
		b.Fatal(err)
	}
	last := convert.DayToProto(firstDay + days - 1)
	ask := func(from pb.WindowSource) time.Duration {
		start := time.Now()
		r, err := phases.Recommend(c.ctx, &pb.RecommendRequest{Name: name + "/plans/p", AsOfDate: last})
		if err != nil || r.GetSource() != from {
			b.Fatalf("from %v, want %v (%v)", r.GetSource(), from, err)
		}
		return time.Since(start)
	}
	var warm, fresh, write []time.Duration
	for i := 0; b.Loop(); i++ {
		weight := &pb.Entry{Date: last, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{
			Weight: &pb.Mass{Value: 78 + float64(i%8)/10, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}}}
		start := time.Now()
		if _, err := log.CreateEntry(c.ctx, &pb.CreateEntryRequest{Parent: name, Entry: weight}); err != nil {
			b.Fatal(err)
		}
		write = append(write, time.Since(start))
		fresh = append(fresh, ask(pb.WindowSource_WINDOW_SOURCE_STORE))
		for range 2 {
			warm = append(warm, ask(pb.WindowSource_WINDOW_SOURCE_SNAPSHOT))
		}
	}
	median := func(of []time.Duration) float64 {
		slices.Sort(of)
		return of[len(of)/2].Seconds()
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(1e6*median(warm), "warm-us")
	b.ReportMetric(median(fresh)/median(warm), "after-a-write/warm(max:2.5)")
	b.ReportMetric(median(write)/median(warm), "write/warm")
}
