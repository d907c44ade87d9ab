package service_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"

	pb "example.com/steelyard/api/steelyard/v1"
)

// lineOf is a batch of one entry, as a line.
func lineOf(t *testing.T, seq int32, e *pb.Entry) string {
	t.Helper()
	return marshal(t, &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Seq: seq, Entries: []*pb.Entry{e}}}})
}

// upload sends a whole backfill over HTTP and returns the acknowledgements and
// the error at the end; nil when it ended well.
func (r *running) upload(t *testing.T, body string) (acks []*pb.BackfillEntriesResponse, end *rpcstatus.Status) {
	t.Helper()
	got := r.http(r.token, "POST", "/v1/entries:backfill", body)
	for line := range strings.Lines(string(got.body)) {
		var wrapped struct{ Result, Error json.RawMessage }
		if err := json.Unmarshal([]byte(line), &wrapped); err != nil || (wrapped.Result == nil) == (wrapped.Error == nil) || end != nil {
			t.Fatalf("line of the answer: %v\n%s", err, got.body)
		}
		if wrapped.Error != nil {
			end = &rpcstatus.Status{}
			if err := protojson.Unmarshal(wrapped.Error, end); err != nil {
				t.Fatalf("%v\n%s", err, line)
			}
			continue
		}
		ack := &pb.BackfillEntriesResponse{}
		if err := protojson.Unmarshal(wrapped.Result, ack); err != nil {
			t.Fatalf("%v\n%s", err, line)
		}
		acks = append(acks, ack)
	}
	return acks, end
}

// TestBackfillOverHTTP_BadLineIsAnError: what was sent before is acknowledged,
// the line that cannot be read is refused by name, and nothing after it is
// applied. An upload that ended in silence would look like one that was done.
func TestBackfillOverHTTP_BadLineIsAnError(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	opening := func(n int) string {
		return marshal(t, openingOf(fmt.Sprintf("0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b%02d", n)))
	}
	for i, c := range []struct {
		name, line, field string
		code              codes.Code
	}{
		{"unknown field", `{"batch":{"entires":[]}}`, "entires", codes.InvalidArgument},
		{"wrong type", `{"batch":{"seq":"one"}}`, "seq", codes.InvalidArgument},
		{"not JSON", `batch`, "(body)", codes.InvalidArgument},
		{"cut short", `{"batch":{`, "(body)", codes.InvalidArgument},
		{"not text", "{\"batch\":{\"entries\":[{\"note\":\"\xff\"}]}}", "(body)", codes.InvalidArgument},
		{"too long", `{"batch":{"entries":[{"note":"` + strings.Repeat("n", 2<<20) + `"}]}}`, "", codes.ResourceExhausted},
		{"breaks a rule", `{"batch":{"seq":-1}}`, "batch.seq", codes.InvalidArgument},
		{"out of order", lineOf(t, 7, weighIn(7, 80)), "", codes.Aborted},
	} {
		t.Run(c.name, func(t *testing.T) {
			acks, end := r.upload(t, opening(i)+"\n"+lineOf(t, 0, weighIn(i, 81.5))+"\n"+c.line+"\n"+lineOf(t, 1, weighIn(30+i, 82))+"\n")
			if len(acks) != 2 || acks[1].GetCommittedCount() != 1 {
				t.Errorf("acknowledged %v", acks)
			}
			if codes.Code(end.GetCode()) != c.code || (c.field != "" && fieldIn(t, end) != c.field) {
				t.Errorf("ended with %v, want %v of %q", end, c.code, c.field)
			}

			acks, end = r.upload(t, c.line+"\n") // the same as the first line
			if len(acks) != 0 || end == nil {
				t.Errorf("acknowledged %v, ended with %v", acks, end)
			}
			if c.field != "" && fieldIn(t, end) != c.field {
				t.Errorf("as the first line: %v, want %q", end, c.field)
			}
		})
	}
	entries, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1", StartDate: day(30)})
	if err != nil || len(entries.GetEntries()) != 0 {
		t.Errorf("applied after a bad line: %v, %v", entries, err)
	}
	if acks, end := r.upload(t, opening(50)+"\n"+lineOf(t, 0, weighIn(60, 81.5))); len(acks) != 2 || end != nil {
		t.Errorf("without a last line end: %v, %v", acks, end)
	}
}

// fieldIn is the field that an error names.
func fieldIn(t *testing.T, s *rpcstatus.Status) string {
	t.Helper()
	for _, d := range s.GetDetails() {
		b := &errdetails.BadRequest{}
		if d.MessageIs(b) {
			if err := d.UnmarshalTo(b); err != nil {
				t.Fatal(err)
			}
			return b.GetFieldViolations()[0].GetField()
		}
	}
	return ""
}

// TestBackfillOverHTTP_CallerMayGoOnSending: a stream that ends early, while its
// caller still sends or waits, is answered whole and its connection closed, and
// the next call is not disturbed.
func TestBackfillOverHTTP_CallerMayGoOnSending(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	const head = "POST /v1/entries:backfill HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nTransfer-Encoding: chunked\r\n\r\n"
	gap := marshal(t, openingOf("0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11")) + "\n" + lineOf(t, 7, weighIn(0, 80)) + "\n"
	for name, more := range map[string]string{
		"waits":       "",
		"ends":        "0\r\n\r\n",
		"goes on":     strings.Repeat("10\r\n{\"batch\":{}}   \n\r\n", 200),
		"sends a lot": strings.Repeat("10\r\n{\"batch\":{}}   \n\r\n", 4000),
	} {
		t.Run(name, func(t *testing.T) {
			for range 5 { // the end of the stream and the next line may cross
				conn, err := new(net.Dialer).DialContext(t.Context(), "tcp", r.app.HTTPAddress())
				if err != nil {
					t.Fatal(err)
				}
				go func() {
					_, _ = fmt.Fprintf(conn, head+"%x\r\n%s\r\n%s", r.token, len(gap), gap, more)
				}()
				resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
				if err != nil {
					t.Fatal(err)
				}
				body, err := io.ReadAll(resp.Body)
				if err != nil || !resp.Close || !strings.Contains(string(body), "BATCH_OUT_OF_ORDER") {
					t.Errorf("closes %v, %v\n%s", resp.Close, err, body)
				}
				_, _ = resp.Body.Close(), conn.Close()
				if got := r.http(r.token, "GET", "/v1/trainees/t1", ""); got.status != 200 {
					t.Errorf("the next call: %d %s", got.status, got.body)
				}
			}
		})
	}
}
