package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/client"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

// gate is a connection to a server that tells of the backfill streams on it, and
// holds them up for as long as who is told takes.
type gate struct {
	grpc.ClientConnInterface
	creating func(trainee string)                                        // before the call; may be nil
	opening  func(ctx context.Context, trainee string)                   // before the stream's first message; may be nil
	answered func(ctx context.Context, trainee string, answer int) error // on each answer, from 0, which is lost with an error; may be nil
	ended    func(trainee string)                                        // may be nil
}

func (g gate) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	if g.creating != nil {
		g.creating(args.(*pb.CreateTraineeRequest).GetTraineeId())
	}
	return g.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
}

func (g gate) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := g.ClientConnInterface.NewStream(ctx, desc, method, opts...)
	return &gated{ClientStream: s, gate: g}, err
}

type gated struct {
	grpc.ClientStream
	gate    gate
	trainee string
	answers int
}

func (s *gated) SendMsg(m any) error {
	if o := m.(*pb.BackfillEntriesRequest).GetOpening(); o != nil {
		s.trainee = strings.TrimPrefix(o.GetParent(), "trainees/")
		if s.gate.opening != nil {
			s.gate.opening(s.Context(), s.trainee)
		}
	}
	return s.ClientStream.SendMsg(m)
}

func (s *gated) RecvMsg(m any) error {
	err := s.ClientStream.RecvMsg(m)
	switch {
	case err != nil && s.gate.ended != nil:
		s.gate.ended(s.trainee)
	case err == nil && s.gate.answered != nil:
		err = s.gate.answered(s.Context(), s.trainee, s.answers)
		s.answers++
	}
	return err
}

// wait waits for a channel, or for the end of a stream.
func wait(ctx context.Context, c <-chan struct{}) {
	select {
	case <-c:
	case <-ctx.Done():
	}
}

// uploading is an uploader to a server of its own.
func uploading(t *testing.T, streams int) (*uploader, caller) {
	t.Helper()
	app, key := startApp(t.TempDir(), func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	})
	run, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- app.Run(run) }()
	t.Cleanup(func() {
		stop()
		if err := errors.Join(<-done, app.Close()); err != nil {
			t.Error(err)
		}
	})
	conn, err := client.Dial(app.GRPCAddress(), key, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return &uploader{conn: conn, createTrainees: true, report: io.Discard, status: io.Discard,
		settings: clientSettings{Attempts: 3, BatchTimeout: 30 * time.Second, Streams: streams}}, dialAgain(t, app.GRPCAddress(), key)
}

// within bounds a test, so that an upload that waits for ever fails.
func within(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	t.Cleanup(cancel)
	return ctx
}

func logOf(t *testing.T, text string) *logcsv.Log {
	t.Helper()
	log, err := logcsv.Read(strings.NewReader(text), "")
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// steps is a log of so many days of each trainee, day by day.
func steps(days int, trainees ...string) string {
	var b strings.Builder
	b.WriteString("trainee,date,steps\n")
	day := time.Date(2015, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := range days {
		for i, who := range trainees {
			fmt.Fprintf(&b, "%s,%s,%d\n", who, day.AddDate(0, 0, n).Format(time.DateOnly), 1000*i+n)
		}
	}
	return b.String()
}

func stored(t *testing.T, by caller, log *logcsv.Log) {
	t.Helper()
	for _, part := range log.Parts {
		entries, _ := by.log(t, part.Trainee)
		compareEntries(t, entries, part)
	}
}

// As many trainees as there are streams are under way at once, never more, in the
// order of the file: here none goes on before that many are there.
func TestUpload_StreamsAtOnce(t *testing.T) {
	trainees := []string{"t-f", "t-e", "t-d", "t-c", "t-b", "t-a"}
	for _, c := range []struct{ streams, atOnce int }{{1, 1}, {2, 2}, {3, 3}, {6, 6}, {64, 6}} {
		t.Run(fmt.Sprint(c.streams), func(t *testing.T) {
			u, by := uploading(t, c.streams)
			var mu sync.Mutex
			var opened []string
			open, most := 0, 0
			whole := make([]chan struct{}, len(trainees)/c.atOnce) // closed when as many as may be at once have opened
			for i := range whole {
				whole[i] = make(chan struct{})
			}
			u.conn = gate{
				ClientConnInterface: u.conn,
				opening: func(ctx context.Context, trainee string) {
					mu.Lock()
					mine := whole[len(opened)/c.atOnce]
					opened = append(opened, trainee)
					open++
					most = max(most, open)
					if len(opened)%c.atOnce == 0 {
						close(mine)
					}
					mu.Unlock()
					wait(ctx, mine)
					time.Sleep(50 * time.Millisecond) // one too many comes meanwhile
				},
				ended: func(string) {
					mu.Lock()
					defer mu.Unlock()
					open--
				},
			}
			var acknowledged atomic.Int64
			u.acknowledged = func(n int) { acknowledged.Add(int64(n)) }
			log := logOf(t, steps(700, trainees...))
			sum, err := u.run(within(t), log)
			if err != nil || sum.sent != 4200 || sum.trainees != 6 || acknowledged.Load() != 4200 {
				t.Fatalf("%v, %v; %d acknowledged", sum, err, acknowledged.Load())
			}
			if most != c.atOnce {
				t.Errorf("%d at once", most)
			}
			for i := 0; i < len(trainees); i += c.atOnce {
				got, want := slices.Sorted(slices.Values(opened[i:i+c.atOnce])), slices.Sorted(slices.Values(trainees[i:i+c.atOnce]))
				if !slices.Equal(got, want) {
					t.Errorf("opened %v", opened)
				}
			}
			stored(t, by, log)
		})
	}
}

// One that fails ends the others and is told. What they had got there is counted,
// and the next run continues.
func TestUpload_OneFails(t *testing.T) {
	u, by := uploading(t, 2)
	u.createTrainees = false
	by.create(t, "t-a")
	log := logOf(t, steps(1200, "t-a", "t-b", "t-c"))
	server, first := u.conn, make(chan struct{})
	u.conn = gate{
		ClientConnInterface: server,
		opening: func(ctx context.Context, trainee string) {
			if trainee == "t-b" { // which is not there
				wait(ctx, first)
			}
		},
		answered: func(ctx context.Context, trainee string, answer int) error {
			if trainee != "t-a" || answer != 2 { // the second batch's
				return nil
			}
			close(first)
			<-ctx.Done()
			return ctx.Err()
		},
	}
	ctx := within(t)
	sum, err := u.run(ctx, log)
	if err == nil || err.Error() != "the server has no trainee t-b; --create-trainees makes the missing ones" {
		t.Errorf("got %v", err)
	}
	if ctx.Err() != nil {
		t.Error("the others were not ended")
	}
	if sum.sent != 500 || sum.alreadyThere != 0 || sum.trainees != 0 || sum.refused() != 0 {
		t.Errorf("after the failure: %v", sum)
	}

	u.conn, u.createTrainees = server, true
	sum, err = u.run(within(t), log)
	if err != nil || sum.alreadyThere < 500 || sum.sent+sum.alreadyThere != 3600 || sum.trainees != 3 {
		t.Errorf("again: %v, %v", sum, err)
	}
	stored(t, by, log)
	for _, part := range log.Parts {
		// Batches that arrive together share a write; one that was applied again adds one.
		if _, writes := by.log(t, part.Trainee); writes > 3 {
			t.Errorf("%s: %d writes for 3 batches", part.Trainee, writes)
		}
	}
}

// Whoever interrupts is told so, not whom it met first, and nobody else is begun.
func TestUpload_Interrupted(t *testing.T) {
	u, by := uploading(t, 2)
	log := logOf(t, steps(1200, "t-a", "t-b", "t-c"))
	ctx, interrupt := context.WithCancel(within(t))
	server := u.conn
	var mu sync.Mutex
	begun := map[string]bool{}
	u.conn = gate{ClientConnInterface: server, creating: func(trainee string) {
		mu.Lock()
		defer mu.Unlock()
		begun[trainee] = true
	}, answered: func(ctx context.Context, _ string, answer int) error {
		if answer < 2 {
			return nil
		}
		interrupt()
		<-ctx.Done()
		return ctx.Err()
	}}
	sum, err := u.run(ctx, log)
	if err == nil || err.Error() != "interrupted; the same command again continues from here" {
		t.Errorf("got %v", err)
	}
	if sum.sent < 500 || sum.trainees != 0 || begun["t-c"] {
		t.Errorf("%v, begun %v", sum, begun)
	}
	before := sum.sent
	u.conn = server
	sum, err = u.run(within(t), log)
	if err != nil || sum.alreadyThere < before || sum.sent+sum.alreadyThere != 3600 || sum.trainees != 3 {
		t.Errorf("again: %v, %v", sum, err)
	}
	stored(t, by, log)
}

const withRefused = `trainee,date,weight_kg
t-b,2025-01-01,81
t-a,2998-01-01,81
t-b,2998-01-02,81
t-c,2998-01-03,81
t-a,2025-01-02,815
t-a,2998-01-04,81
t-b,2998-01-05,81
t-c,2025-01-06,81
`

// toldOf is what is told of withRefused, without the reasons.
const toldOf = "6 4 8 3 7 5"

// lines takes whole lines and fails after so many.
type lines struct {
	t *testing.T
	bytes.Buffer
	fails int // 0: never
}

var errFull = errors.New("no space left")

func (l *lines) Write(p []byte) (int, error) {
	if n := bytes.Count(p, []byte("\n")); n != 1 || p[len(p)-1] != '\n' {
		l.t.Errorf("not one line: %q", p)
	}
	if l.fails > 0 && bytes.Count(l.Bytes(), []byte("\n")) == l.fails-1 {
		return 0, errFull
	}
	return l.Buffer.Write(p)
}

// numbers are the lines of the file that are told of, in order.
func numbers(t *testing.T, told string) string {
	t.Helper()
	var out []string
	for line := range strings.Lines(told) {
		var n int
		if _, err := fmt.Sscanf(line, "line %d: ", &n); err != nil {
			t.Errorf("%q: %v", line, err)
		}
		out = append(out, fmt.Sprint(n))
	}
	return strings.Join(out, " ")
}

// Refused rows are told in one order, whoever ends first.
func TestUpload_RefusedRowsInOrder(t *testing.T) {
	for _, last := range []string{"t-b", "t-a", "t-c"} {
		for _, onStatus := range []bool{false, true} {
			u, _ := uploading(t, 3)
			told := &lines{t: t}
			if u.report = told; onStatus {
				u.report, u.status = nil, told
			}
			others := make(chan struct{}, 2)
			both := make(chan struct{})
			go func() { <-others; <-others; close(both) }()
			u.conn = gate{
				ClientConnInterface: u.conn,
				opening: func(ctx context.Context, trainee string) {
					if trainee == last {
						wait(ctx, both)
					}
				},
				ended: func(trainee string) {
					if trainee != last {
						others <- struct{}{}
					}
				},
			}
			sum, err := u.run(within(t), logOf(t, withRefused))
			if got := numbers(t, told.String()); err != nil || got != toldOf || sum.refused() != 6 || sum.untold != 0 {
				t.Errorf("%s last: %v, %v; told %s, want %s", last, sum, err, got, toldOf)
			}
		}
	}
}

// A report that cannot be written ends the run, with what came of it.
func TestUpload_ReportIsFull(t *testing.T) {
	for fails, want := range map[int]string{1: "", 2: "6", 4: "6 4 8", 6: "6 4 8 3 7"} {
		u, _ := uploading(t, 3)
		told := &lines{t: t, fails: fails}
		u.report = told
		sum, err := u.run(within(t), logOf(t, withRefused))
		if got := numbers(t, told.String()); !errors.Is(err, errFull) || got != want {
			t.Errorf("%d: %v, told %q", fails, err, got)
		}
		if fails == 6 && (sum.sent != 7 || sum.trainees != 3) {
			t.Errorf("%v", sum)
		}
	}
}

func TestClientSettings_Streams(t *testing.T) {
	for streams, want := range map[string]string{
		"0": "--streams: must be 1 or more", "-1": "--streams: must be 1 or more", "65": "--streams: must be 64 or less", "many": `"many" is not a whole number`,
	} {
		t.Setenv("STEELYARD_KEY", "k")
		var out, messages bytes.Buffer
		code := run(t.Context(), []string{"backfill", "--streams", streams, os.DevNull}, strings.NewReader(""), &out, &messages)
		if code != exitUsage || !strings.Contains(messages.String(), want) {
			t.Errorf("%s: code %d, %s", streams, code, messages.String())
		}
	}
}
