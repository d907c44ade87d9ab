package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/client"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
	"example.com/steelyard/service"
)

const (
	killedEntries = 20000
	kills         = 12
)

// generatedLog writes a log of killedEntries, which the trainees share: four a day.
func generatedLog(rng *rand.Rand, trainees ...string) string {
	var b strings.Builder
	b.WriteString("trainee,date,weight_kg,intake_kcal,steps,marks\n")
	day := time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC)
	for row := range killedEntries / 4 {
		who := trainees[row%len(trainees)]
		fmt.Fprintf(&b, "%s,%s,%.1f,%d,%d,%s\n", who, day.Format(time.DateOnly), 60+40*rng.Float64(), 1500+rng.IntN(2000), rng.IntN(20000),
			[]string{"travel", "illness", "salty_meal"}[rng.IntN(3)])
		day = day.AddDate(0, 0, 1)
	}
	return b.String()
}

// breaks counts the kills that a client noticed.
type breaks struct{ sinceKill, counted int }

func (b *breaks) Write(p []byte) (int, error) {
	b.sinceKill++
	return len(p), nil
}

func (b *breaks) settle() {
	if b.sinceKill > 0 {
		b.counted++
	}
	b.sinceKill = 0
}

// A server that is killed without warning, again and again in the middle of a
// backfill, loses nothing that it acknowledged and applies nothing twice.
func TestKilledServerKeepsEveryEntry(t *testing.T) {
	rng := rand.New(rand.NewPCG(20, 25))
	bin, dir := buildBinary(t), t.TempDir()
	key := makeKey(t, bin, dir, "--scope", "log.write,log.read,plan.write")
	p := startProcess(t, bin, dir, freePorts)
	defer func() { _ = p.cmd.Process.Kill() }()

	file := filepath.Join(t.TempDir(), "log.csv")
	if err := os.WriteFile(file, []byte(generatedLog(rng, "t-anvil")), 0o600); err != nil {
		t.Fatal(err)
	}
	log, err := readLog(nil, file, "")
	if err != nil || len(log.Refused) > 0 || len(log.Parts[0].Items) != killedEntries {
		t.Fatalf("%v, %v", err, log)
	}
	conn, err := client.Dial(p.listen.GRPC, key, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()

	points := make([]int, kills) // acknowledged entries at which to kill
	for i := range points {
		points[i] = rng.IntN(killedEntries * 3 / 4) // the last acknowledgements come together
	}
	slices.Sort(points)
	met, done := &breaks{}, 0
	kill := func() {
		met.settle()
		// A random moment of the work on the batches that are on their way.
		time.Sleep(time.Duration(rng.IntN(20000)) * time.Microsecond)
		_ = p.end(syscall.SIGKILL) // its end is the point
		p = restartProcess(t, bin, dir, p.listen)
		done++
	}
	behind := 0
	u := uploader{conn: conn, createTrainees: true, report: os.Stderr, status: met,
		settings: clientSettings{Key: service.Secret(key), Attempts: 20, BatchTimeout: 30 * time.Second, Streams: 1},
		acknowledged: func(n int) {
			behind += n
			if done < kills && behind >= points[done] && behind < killedEntries {
				kill()
			}
		}}
	sum, err := u.run(context.Background(), log)
	if err != nil {
		t.Fatalf("after %d kills: %v; %v", done, err, sum)
	}
	met.settle()
	t.Logf("%d kills, %d of them interrupted the upload, %d streams continued; %v", done, met.counted, sum.breaks, sum)
	if done < 10 || met.counted == 0 {
		t.Errorf("%d kills, %d interruptions: nothing was proved", done, met.counted)
	}
	if sum.sent != killedEntries || sum.refused() != 0 {
		t.Errorf("%v", sum)
	}
	entries, _ := dialAgain(t, p.listen.GRPC, key).log(t, "t-anvil")
	compareEntries(t, entries, log.Parts[0])

	// The real command finds nothing left to send.
	cmd := exec.Command(bin, "backfill", "--address", p.listen.GRPC, file)
	cmd.Env = append(plainEnviron(), "STEELYARD_KEY="+key)
	out, err := cmd.CombinedOutput()
	if want := "5000 rows read, 0 entries sent, 0 rows refused, 1 trainee, "; err != nil || !strings.HasPrefix(string(out), want) ||
		!strings.Contains(string(out), "there already from an earlier run: 20000 entries") {
		t.Errorf("again: %v, %s", err, out)
	}
	if err := p.end(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
}

// compareEntries compares what is stored with what the file says.
func compareEntries(t *testing.T, stored []*pb.Entry, part logcsv.Part) {
	t.Helper()
	want := map[string]*pb.Entry{}
	for _, e := range part.Entries() {
		e = proto.Clone(e).(*pb.Entry)
		if e.Key == "" {
			e.Key = "1"
		}
		want[naturalKey(e)] = e
	}
	wrong := 0
	for _, e := range stored {
		e.Name = ""
		if w := e.GetWeighIn(); w != nil {
			w.WeightKg = nil
		}
		if i := e.GetIntake(); i != nil {
			i.EnergyKcal = nil
		}
		k := naturalKey(e)
		if !proto.Equal(want[k], e) {
			wrong++
			t.Logf("%s: got %v, want %v", k, e, want[k])
		}
		delete(want, k) // so that one listed twice is wrong too
	}
	if len(stored) != len(part.Items) || wrong > 0 || len(want) > 0 {
		t.Errorf("%d entries listed, %d of them wrong, %d missing", len(stored), wrong, len(want))
	}
}

func naturalKey(e *pb.Entry) string {
	d := e.GetDate()
	return fmt.Sprintf("%d-%d-%d %T %s", d.GetYear(), d.GetMonth(), d.GetDay(), e.GetFact(), e.GetKey())
}
