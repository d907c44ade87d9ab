package gateway

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"
	"testing/iotest"

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
			got, err := io.ReadAll(&lines{ReadCloser: io.NopCloser(body), left: 10, max: 10})
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
		r := &lines{ReadCloser: io.NopCloser(strings.NewReader(body)), left: most, max: most}
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
	got, err := io.ReadAll(&lines{ReadCloser: io.NopCloser(io.MultiReader(strings.NewReader("ab"), iotest.ErrReader(broken))), left: 10, max: 10})
	if string(got) != "ab" || !errors.Is(err, broken) {
		t.Errorf("%q, %v", got, err)
	}
}
