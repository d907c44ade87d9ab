package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
)

// running is a service under test, with a key of one tenant.
type running struct {
	t         testing.TB
	app       *service.App
	token     string
	conn      *grpc.ClientConn
	adminConn *grpc.ClientConn
	log       *lockedBuffer
	crossed   bool // calls go to the listener that does not serve them
}

// start runs a service on free loopback ports and a fresh SQLite file.
func start(t testing.TB) *running {
	t.Helper()
	return startWith(t, func(*service.Config) {})
}

// startWith is start with other settings.
func startWith(t testing.TB, edit func(*service.Config)) *running {
	t.Helper()
	r := &running{t: t, log: &lockedBuffer{}}
	cfg := service.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0",
		DataDir: t.TempDir(), ShutdownTimeout: 5 * time.Second, KeyPepper: "a pepper of this test",
	}
	edit(&cfg)
	app, err := service.New(t.Context(), cfg, service.WithLog(slog.New(slog.NewJSONHandler(r.log, nil))))
	if err != nil {
		t.Fatal(err)
	}
	r.app = app
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- app.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
		if err := app.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	r.token = r.key("tenant-a", access.ScopeNames()...)
	if r.conn, err = grpc.NewClient(app.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials())); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.conn.Close() })
	if r.adminConn, err = grpc.NewClient(app.AdminAddress(), grpc.WithTransportCredentials(insecure.NewCredentials())); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.adminConn.Close() })
	return r
}

// key issues a key of a tenant.
func (r *running) key(tenant string, scopes ...string) string {
	r.t.Helper()
	token, _, err := r.app.Keyring().Issue(r.t.Context(), tenant, "test", scopes, time.Time{})
	if err != nil {
		r.t.Fatal(err)
	}
	return token
}

// as returns a context that carries a token; "" carries none.
func (r *running) as(token string) context.Context {
	if token == "" {
		return r.t.Context()
	}
	return metadata.AppendToOutgoingContext(r.t.Context(), "authorization", "Bearer "+token)
}

// listener is where a method is served: by gRPC, and the address by JSON.
func (r *running) listener(m protoreflect.MethodDescriptor) (*grpc.ClientConn, string) {
	if isAdmin(m) != r.crossed {
		return r.adminConn, r.app.AdminAddress()
	}
	return r.conn, r.app.HTTPAddress()
}

func (r *running) ctx() context.Context             { return r.as(r.token) }
func (r *running) admins() pb.AdminServiceClient    { return pb.NewAdminServiceClient(r.adminConn) }
func (r *running) logbook() pb.LogbookServiceClient { return pb.NewLogbookServiceClient(r.conn) }
func (r *running) phases() pb.PhaseServiceClient    { return pb.NewPhaseServiceClient(r.conn) }
func (r *running) trends() pb.TrendServiceClient    { return pb.NewTrendServiceClient(r.conn) }
func (r *running) trainees() pb.TraineeServiceClient {
	return pb.NewTraineeServiceClient(r.conn)
}

// answer is an HTTP answer, read whole.
type answer struct {
	status int
	header http.Header
	body   []byte
}

func (a answer) json(t *testing.T) map[string]any {
	t.Helper()
	var out map[string]any
	if err := json.Unmarshal(a.body, &out); err != nil {
		t.Fatalf("answer is not a JSON object: %v\n%s", err, a.body)
	}
	return out
}

// http sends a JSON request with a token; headers are name, value pairs.
func (r *running) http(token, method, path, body string, headers ...string) answer {
	r.t.Helper()
	return r.httpTo(r.app.HTTPAddress(), token, method, path, body, headers...)
}

// httpTo is http to one of the listeners.
func (r *running) httpTo(address, token, method, path, body string, headers ...string) answer {
	r.t.Helper()
	req, err := http.NewRequestWithContext(r.t.Context(), method, "http://"+address+path, strings.NewReader(body))
	if err != nil {
		r.t.Fatal(err)
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, b}
}

// trainee creates a complete trainee.
func (r *running) trainee(id string) {
	r.t.Helper()
	height := 180.0
	_, err := r.trainees().CreateTrainee(r.ctx(), &pb.CreateTraineeRequest{TraineeId: id, Trainee: &pb.Trainee{
		Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4}, HeightCm: &height,
		ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_LOW_ACTIVE,
	}})
	if err != nil {
		r.t.Fatal(err)
	}
}

// day is a date in the past that every test may log on.
func day(offset int) *date.Date {
	first, _ := engine.DayOf(2025, 3, 3)
	return convert.DayToProto(first + engine.Day(offset))
}

func weighIn(offset int, kg float64) *pb.Entry {
	return &pb.Entry{Date: day(offset), Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: kg, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}}}
}

func intake(offset int, kcal float64) *pb.Entry {
	return &pb.Entry{Date: day(offset), Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: kcal, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}}}}
}

// lockedBuffer is a log that may be read while it is written.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) Reset() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.b.Reset()
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// timeNow is the clock of the service under test.
func timeNow() time.Time { return time.Now() }

// rawBytes sends bytes as they are.
type rawBytes struct{}

func (rawBytes) Marshal(v any) ([]byte, error) { return v.([]byte), nil }
func (rawBytes) Unmarshal([]byte, any) error   { return nil }
func (rawBytes) Name() string                  { return "proto" }

func rawCodec() grpc.CallOption { return grpc.ForceCodec(rawBytes{}) }
