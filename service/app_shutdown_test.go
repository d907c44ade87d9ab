package service_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
)

// acked is what a writer was told is written: entry key and weight.
type acked struct {
	key string
	kg  float64
}

// TestShutdown_KeepsEveryAcknowledgedWrite: eight writers by every way in, the
// service is told to stop while they write, and everything that was
// acknowledged is there when the same data folder is opened again.
func TestShutdown_KeepsEveryAcknowledgedWrite(t *testing.T) {
	const writers, enough = 8, 160
	dir := t.TempDir()
	l := begin(t, onLoopback(dir))
	l.trainee("t1")

	var count atomic.Int64
	told := make([][]acked, writers)
	var wg sync.WaitGroup
	for w := range writers {
		write := []func(*life, int, func(acked)) error{writeByGRPC, writeByJSON, writeByBackfill, writeByJSON}[w%4]
		wg.Go(func() {
			err := write(l, w, func(a acked) {
				told[w] = append(told[w], a)
				if count.Add(1) == enough {
					l.stop()
				}
			})
			if err != nil {
				t.Errorf("writer %d: %v", w, err)
			}
		})
	}
	wg.Wait()
	l.ended()
	l.close()

	again := begin(t, onLoopback(dir))
	defer func() { again.stop(); again.ended(); again.close() }()
	stored := map[string]float64{}
	req := &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: 1000}
	for range 100 {
		page, err := again.logbook().ListEntries(again.ctx(), req)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range page.GetEntries() {
			stored[e.GetKey()] = e.GetWeighIn().GetWeightKg()
		}
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	sum := 0
	for w, all := range told {
		if len(all) == 0 {
			t.Errorf("writer %d was told of nothing: the test proves nothing for it", w)
		}
		for _, a := range all {
			sum++
			if stored[a.key] != a.kg {
				t.Errorf("acknowledged %s %v, stored %v", a.key, a.kg, stored[a.key])
			}
		}
	}
	if len(stored) > sum+writers { // at most the call that each had in flight
		t.Errorf("%d stored, %d acknowledged", len(stored), sum)
	}
	t.Logf("%d acknowledged, %d stored", sum, len(stored))
}

// mostWrites bounds a writer that nobody stops.
const mostWrites = 100_000

func keyAndWeight(writer, i int) (string, float64) {
	return fmt.Sprintf("w%d-%d", writer, i), 60 + float64(i%1000)/8
}

func writeByGRPC(l *life, writer int, tell func(acked)) error {
	for i := range mostWrites {
		key, kg := keyAndWeight(writer, i)
		e := weighIn(0, kg)
		e.Key = key
		switch _, err := l.logbook().CreateEntry(l.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: e}); status.Code(err) {
		case codes.OK:
			tell(acked{key, kg})
		case codes.Unavailable, codes.Canceled:
			return nil
		default:
			return err
		}
	}
	return errors.New("nobody stopped it")
}

func writeByJSON(l *life, writer int, tell func(acked)) error {
	for i := range mostWrites {
		key, kg := keyAndWeight(writer, i)
		body := fmt.Sprintf(`{"key":%q,"date":{"year":2025,"month":3,"day":3},"weighIn":{"weight":{"value":%v,"unit":"MASS_UNIT_KILOGRAM"}}}`, key, kg)
		req, err := http.NewRequestWithContext(l.t.Context(), http.MethodPost, "http://"+l.app.HTTPAddress()+"/v1/trainees/t1/entries", strings.NewReader(body))
		if err != nil {
			return err
		}
		req.Header.Set("Authorization", "Bearer "+l.token)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			return nil //nolint:nilerr // the listener is gone, or the connection was idle as it went
		}
		answer, err := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		switch {
		case err != nil:
			return fmt.Errorf("an answer was cut short: %w", err)
		case resp.StatusCode == http.StatusServiceUnavailable:
			return nil
		case resp.StatusCode != http.StatusOK:
			return fmt.Errorf("%d %s", resp.StatusCode, answer)
		}
		tell(acked{key, kg})
	}
	return errors.New("nobody stopped it")
}

func writeByBackfill(l *life, writer int, tell func(acked)) error {
	stream, err := l.logbook().BackfillEntries(l.ctx())
	if err != nil {
		return err
	}
	send := func(m *pb.BackfillEntriesRequest) (*pb.BackfillEntriesResponse, error) {
		if err := stream.Send(m); err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		return stream.Recv()
	}
	if _, err := send(openingOf(fmt.Sprintf("0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b%02d", writer))); err != nil {
		return err
	}
	for i := range mostWrites {
		key, kg := keyAndWeight(writer, i)
		e := weighIn(0, kg)
		e.Key = key
		ack, err := send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Seq: int32(i), Entries: []*pb.Entry{e}}}})
		if status.Code(err) == codes.Unavailable {
			return nil
		}
		if err != nil {
			return err
		}
		if ack.GetNextSeq() != int32(i+1) {
			return fmt.Errorf("batch %d: %v", i, ack)
		}
		tell(acked{key, kg})
	}
	return errors.New("nobody stopped it")
}

func openingOf(upload string) *pb.BackfillEntriesRequest {
	return &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
		Parent: "trainees/t1", UploadId: upload, ContentSha256: strings.Repeat("a", 64),
	}}}
}

// halfSent is a JSON call whose body has not come whole yet.
type halfSent struct {
	t      testing.TB
	conn   net.Conn
	answer *bufio.Reader
	rest   string
}

// sendHalf sends the head of a call and waits until its handler reads the body.
func (l *life) sendHalf(path, body string) *halfSent {
	l.t.Helper()
	conn, err := new(net.Dialer).DialContext(l.t.Context(), "tcp", l.app.HTTPAddress())
	if err != nil {
		l.t.Fatal(err)
	}
	l.t.Cleanup(func() { _ = conn.Close() })
	_, err = fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nContent-Length: %d\r\nExpect: 100-continue\r\n\r\n", path, l.token, len(body))
	if err != nil {
		l.t.Fatal(err)
	}
	h := &halfSent{t: l.t, conn: conn, answer: bufio.NewReader(conn), rest: body}
	line, err := h.answer.ReadString('\n') // the server asks for the body when its handler reads it
	if err != nil || !strings.Contains(line, "100 Continue") {
		l.t.Fatalf("%q, %v", line, err)
	}
	if _, err := h.answer.ReadString('\n'); err != nil {
		l.t.Fatal(err)
	}
	return h
}

// finish sends the rest and returns the answer.
func (h *halfSent) finish() (int, string) {
	h.t.Helper()
	if _, err := io.WriteString(h.conn, h.rest); err != nil {
		h.t.Fatal(err)
	}
	resp, err := http.ReadResponse(h.answer, nil)
	if err != nil {
		h.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

const oneEntry = `{"date":{"year":2025,"month":3,"day":3},"weighIn":{"weight":{"value":81.5,"unit":"MASS_UNIT_KILOGRAM"}}}`

// TestShutdown_ProbesSeeTheDrainingAndCallsInFlightFinish: while a call is in
// flight /readyz says 503 and the health service NOT_SERVING, /livez stays 200,
// and the call is answered and its write kept.
func TestShutdown_ProbesSeeTheDrainingAndCallsInFlightFinish(t *testing.T) {
	dir := t.TempDir()
	l := begin(t, onLoopback(dir))
	l.trainee("t1")
	if got := l.admin("GET", "/readyz"); got.status != 200 {
		t.Fatalf("before: %d %s", got.status, got.body)
	}
	call := l.sendHalf("/v1/trainees/t1/entries", oneEntry)
	l.stop()
	var ready answer
	for range 1000 { // until the stop has got through
		if ready = l.admin("GET", "/readyz"); ready.status != 200 {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if ready.status != 503 || string(ready.body) != "stopping\n" {
		t.Errorf("/readyz while stopping: %d %s", ready.status, ready.body)
	}
	if live := l.admin("GET", "/livez"); live.status != 200 {
		t.Errorf("/livez while stopping: %d %s", live.status, live.body)
	}
	if h, err := healthpb.NewHealthClient(l.conn).Check(l.as(""), &healthpb.HealthCheckRequest{}); err != nil || h.GetStatus() != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health while stopping: %v, %v", h, err)
	}
	if code, body := call.finish(); code != 200 || !strings.Contains(body, `"weightKg":81.5`) {
		t.Errorf("the call in flight: %d %s", code, body)
	}
	l.ended()
	l.close()

	again := begin(t, onLoopback(dir))
	defer func() { again.stop(); again.ended(); again.close() }()
	if got, err := again.logbook().ListEntries(again.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1"}); err != nil || len(got.GetEntries()) != 1 {
		t.Errorf("stored %v, %v", got, err)
	}
}

// TestShutdown_StuckCallDoesNotHoldItUp: after the shutdown timeout a call that
// never ends is cut, which is no failure of the service.
func TestShutdown_StuckCallDoesNotHoldItUp(t *testing.T) {
	cfg := onLoopback(t.TempDir())
	cfg.ShutdownTimeout = 50 * time.Millisecond
	l := begin(t, cfg)
	l.trainee("t1")
	stuck := l.sendHalf("/v1/trainees/t1/entries", oneEntry)
	l.stop()
	l.ended()
	l.close()
	if b, err := io.ReadAll(stuck.answer); err == nil && bytes.Contains(b, []byte("200 OK")) {
		t.Errorf("the stuck call is answered: %s", b)
	}
}

// TestShutdown_EndsStreams: a backfill that waits for its caller hears
// UNAVAILABLE, by both ways in, so that the caller goes on elsewhere.
func TestShutdown_EndsStreams(t *testing.T) {
	l := begin(t, onLoopback(t.TempDir()))
	l.trainee("t1")
	ctx, cancel := context.WithTimeout(l.ctx(), 20*time.Second) // so that a stream that does not end fails
	defer cancel()
	stream, err := l.logbook().BackfillEntries(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(openingOf("0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11")); err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	body, lines := io.Pipe()
	defer func() { _ = lines.Close() }()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+l.app.HTTPAddress()+"/v1/entries:backfill", body)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+l.token)
	go func() {
		_, _ = io.WriteString(lines, marshal(t, openingOf("3c1c2d80-8f0c-4f0e-9f54-7f7f7a0f9a10"))+"\n")
	}()
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	answers := bufio.NewScanner(resp.Body)
	if !answers.Scan() || !strings.Contains(answers.Text(), `"result"`) {
		t.Fatalf("opening: %q, %v", answers.Text(), answers.Err())
	}

	l.stop()
	if _, err := stream.Recv(); status.Code(err) != codes.Unavailable {
		t.Errorf("gRPC: %v", err)
	}
	var last struct {
		Error struct{ Code int }
	}
	if !answers.Scan() || json.Unmarshal(answers.Bytes(), &last) != nil || codes.Code(last.Error.Code) != codes.Unavailable {
		t.Errorf("JSON: %q, %v", answers.Text(), answers.Err())
	}
	l.ended()
	l.close()
}
