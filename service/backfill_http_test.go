package service_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// TestBackfillOverHTTPIsAConversation: an answer comes before the next line is
// sent, so that a caller without gRPC can wait for each acknowledgement too.
func TestBackfillOverHTTPIsAConversation(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	body, lines := io.Pipe()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://"+r.app.HTTPAddress()+"/v1/entries:backfill", body)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+r.token)
	req.Header.Set("Content-Type", "application/x-ndjson")
	answered := make(chan *http.Response, 1)
	go func() {
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Error(err)
			_ = lines.CloseWithError(err)
			return
		}
		answered <- resp
	}()
	say := func(line string) {
		t.Helper()
		if _, err := io.WriteString(lines, line+"\n"); err != nil {
			t.Fatal(err)
		}
	}
	say(`{"opening":{"parent":"trainees/t1","uploadId":"7e4f0d6e-3a52-4d2b-8a5e-0b8f6f6f7a11","contentSha256":"` + strings.Repeat("b", 64) + `"}}`)
	var resp *http.Response
	select {
	case resp = <-answered:
	case <-time.After(10 * time.Second): // so that a server that waits for the end of the body fails
		t.Fatal("no answer before the end of the body")
	}
	defer func() { _ = resp.Body.Close() }()
	answers := bufio.NewScanner(resp.Body)
	next := func() (seq, committed float64) {
		t.Helper()
		if !answers.Scan() {
			t.Fatalf("no further answer: %v", answers.Err())
		}
		var line struct {
			Result map[string]any
			Error  map[string]any
		}
		if err := json.Unmarshal(answers.Bytes(), &line); err != nil || line.Error != nil {
			t.Fatalf("%v: %s", err, answers.Text())
		}
		return line.Result["nextSeq"].(float64), line.Result["committedCount"].(float64)
	}
	if seq, committed := next(); seq != 0 || committed != 0 {
		t.Errorf("opening: %v %v", seq, committed)
	}
	for i := range 3 {
		say(fmt.Sprintf(`{"batch":{"seq":%d,"entries":[{"date":{"year":2025,"month":3,"day":%d},"weighIn":{"weight":{"value":80,"unit":"MASS_UNIT_KILOGRAM"}}}]}}`, i, i+1))
		if seq, committed := next(); seq != float64(i+1) || committed != float64(i+1) {
			t.Errorf("batch %d: next %v, committed %v", i, seq, committed)
		}
	}
	if err := lines.Close(); err != nil {
		t.Fatal(err)
	}
	if answers.Scan() {
		t.Errorf("after the end: %s", answers.Text())
	}
}
