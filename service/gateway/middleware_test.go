package gateway

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"pgregory.net/rapid"
)

func TestLines_EachLineMayBeOfTheLargestSize(t *testing.T) {
	x := func(n int) string { return strings.Repeat("x", n) }
	for _, c := range []struct {
		name, body string
		ok         bool
	}{
		{"nothing", "", true},
		{"largest", x(10), true},
		{"largest with its end", x(10) + "\n", true},
		{"one more", x(11), false},
		{"one more with its end", x(11) + "\n", false},
		{"many of the largest", strings.Repeat(x(10)+"\n", 1000), true},
		{"the last is too long", strings.Repeat(x(10)+"\n", 1000) + x(11), false},
		{"the first is too long", x(11) + "\n" + x(1), false},
		{"only ends", strings.Repeat("\n", 1000), true},
		{"carriage return counts", x(9) + "\r\n", true},
		{"carriage return is one too many", x(10) + "\r\n", false},
	} {
		for way, body := range map[string]io.Reader{
			"at once":      strings.NewReader(c.body),
			"byte by byte": iotest.OneByteReader(strings.NewReader(c.body)),
			"by halves":    iotest.HalfReader(strings.NewReader(c.body)),
			"with its end": iotest.DataErrReader(strings.NewReader(c.body)),
		} {
			got, err := io.ReadAll(newLines(io.NopCloser(body), 10))
			checkLines(t, c.name+" "+way, c.body, string(got), err, c.ok)
		}
	}
}

// TestLines_ModelOfAnyBody: a body is read whole if and only if none of its
// lines is too long.
func TestLines_ModelOfAnyBody(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		most := rapid.IntRange(1, 12).Draw(t, "most")
		body := rapid.StringOfN(rapid.SampledFrom([]rune("ab\n")), 0, 120, -1).Draw(t, "body")
		ok := true
		for line := range strings.SplitSeq(body, "\n") {
			ok = ok && len(line) <= most
		}
		r := newLines(io.NopCloser(strings.NewReader(body)), most)
		var got bytes.Buffer
		var err error
		for err == nil {
			var n int
			p := make([]byte, rapid.IntRange(1, 20).Draw(t, "chunk"))
			n, err = r.Read(p)
			got.Write(p[:n])
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		checkLines(t, "drawn", body, got.String(), err, ok)
	})
}

// reporter is what testing and rapid have in common.
type reporter interface {
	Errorf(format string, args ...any)
}

func checkLines(t reporter, name, body, got string, err error, ok bool) {
	if ok {
		if err != nil || got != body {
			t.Errorf("%s: %d of %d bytes, %v", name, len(got), len(body), err)
		}
		return
	}
	var tooLarge *http.MaxBytesError
	if !errors.As(err, &tooLarge) || !strings.HasPrefix(body, got) {
		t.Errorf("%s: %d of %d bytes, %v, want it refused", name, len(got), len(body), err)
	}
}

func TestLines_AnErrorOfTheBodyIsPassedOn(t *testing.T) {
	broken := errors.New("broken")
	got, err := io.ReadAll(newLines(io.NopCloser(io.MultiReader(strings.NewReader("ab"), iotest.ErrReader(broken))), 10))
	if string(got) != "ab" || !errors.Is(err, broken) {
		t.Errorf("%q, %v", got, err)
	}
}

// duplex is a connection that a handler writes to while it reads.
type duplex struct {
	httptest.ResponseRecorder
	deadlines []time.Time
	past      chan struct{} // closed when the read deadline is set to the past
	full      bool
}

func (d *duplex) EnableFullDuplex() error { d.full = true; return nil }

func (d *duplex) SetReadDeadline(at time.Time) error {
	if d.deadlines = append(d.deadlines, at); at.Before(time.Now()) && len(d.deadlines) == 1 {
		close(d.past)
	}
	return nil
}

// waiting is a body whose caller sends nothing.
type waiting struct {
	read chan struct{} // gets a word when it is read
	past chan struct{}
}

func (w waiting) Read([]byte) (int, error) {
	w.read <- struct{}{}
	<-w.past
	return 0, os.ErrDeadlineExceeded
}

func (w waiting) Close() error { return nil }

// TestLines_NobodyReadsAfterTheHandler: the reader that waits is woken, no other
// read reaches the body, and what net/http reads of the rest is bounded.
func TestLines_NobodyReadsAfterTheHandler(t *testing.T) {
	d := &duplex{past: make(chan struct{})}
	body := waiting{read: make(chan struct{}, 9), past: d.past}
	l := newLines(body, 10)
	end := l.serve(d)
	if !d.full || d.Header().Get("Connection") != "close" {
		t.Errorf("full duplex %v, %v", d.full, d.Header())
	}
	woken := make(chan error)
	go func() {
		_, err := l.Read(make([]byte, 5))
		woken <- err
	}()
	<-body.read
	ended := make(chan struct{})
	go func() { end(); close(ended) }()
	if err := <-woken; !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("woken with %v", err)
	}
	<-ended
	if n, err := l.Read(make([]byte, 5)); n != 0 || !errors.Is(err, http.ErrBodyReadAfterClose) || len(body.read) != 0 {
		t.Errorf("read after the handler: %d, %v, body read %d times more", n, err, len(body.read))
	}
	if n := len(d.deadlines); n != 2 || d.deadlines[1].IsZero() || time.Until(d.deadlines[1]) > lingerTime {
		t.Errorf("read deadlines %v", d.deadlines)
	}
}

// TestUnstalled_ForgetsAReaderThatDoesNotRead, and only that: an answer in many
// pieces may take far longer than one piece.
func TestUnstalled_ForgetsAReaderThatDoesNotRead(t *testing.T) {
	const timeout = 100 * time.Millisecond
	done := make(chan error, 2)
	piece := bytes.Repeat([]byte("x"), 64<<10)
	pieces := 0
	server := httptest.NewServer(unstalled(timeout, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		flusher := w.(http.Flusher)
		for range pieces {
			if _, err := w.Write(piece); err != nil {
				done <- err
				return
			}
			flusher.Flush()
			if r.URL.Path == "/slowly" {
				time.Sleep(timeout / 2)
			}
		}
		done <- http.NewResponseController(w).EnableFullDuplex() // the writer below is still to be had
	})))
	defer server.Close()

	get := func(path string) *http.Response {
		req, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		resp, err := server.Client().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		return resp
	}
	pieces = 8
	resp := get("/slowly")
	n, err := io.Copy(io.Discard, resp.Body)
	_ = resp.Body.Close()
	if err != nil || n != int64(pieces*len(piece)) || <-done != nil {
		t.Errorf("read slowly: %d bytes, %v", n, err)
	}

	pieces = 1000 // far more than the sockets between hold
	stuck := get("/stuck")
	select {
	case err := <-done:
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("a reader that does not read ends with %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Error("a reader that does not read is waited for")
	}
	_ = stuck.Body.Close()
}

// TestLimited_ARequestWithoutABodyHasNoDeadlineForOne: net/http takes a deadline
// that passes for a caller who has gone, and ends an answer that streams for longer.
func TestLimited_ARequestWithoutABodyHasNoDeadlineForOne(t *testing.T) {
	for _, c := range []struct {
		body io.ReadCloser
		want int // deadlines
	}{{http.NoBody, 0}, {io.NopCloser(strings.NewReader("{}")), 1}} {
		d := &duplex{}
		req := httptest.NewRequestWithContext(t.Context(), "GET", "/v1/trainees/a:export", nil)
		req.Body = c.body
		limited(10, http.HandlerFunc(func(http.ResponseWriter, *http.Request) {})).ServeHTTP(d, req)
		if len(d.deadlines) != c.want {
			t.Errorf("body %T: deadlines %v", c.body, d.deadlines)
		}
	}
}
