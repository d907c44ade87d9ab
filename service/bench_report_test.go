//go:build unix

package service

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// figure is what two samples are compared by.
type figure struct {
	unit string
	of   func(sample) float64
}

var (
	cpuPerCall = figure{"us of server CPU a call", func(s sample) float64 { return float64(s.cpu.Microseconds()) / s.count }}
	waitP50    = figure{"us p50", func(s sample) float64 { return float64(s.p50.Nanoseconds()) / 1000 }}
	perSecond  = figure{"a second", func(s sample) float64 { return s.count / s.took.Seconds() }}
)

// bound is what a ratio has to be; the zero bound asks nothing.
type bound struct {
	AtMost  float64 `json:"at_most,omitempty"`
	AtLeast float64 `json:"at_least,omitempty"`
}

func atMost(v float64) bound  { return bound{AtMost: v} }
func atLeast(v float64) bound { return bound{AtLeast: v} }

func (b bound) String() string {
	switch {
	case b.AtMost > 0:
		return fmt.Sprintf("at most %.2f", b.AtMost)
	case b.AtLeast > 0:
		return fmt.Sprintf("at least %.2f", b.AtLeast)
	}
	return "no bound"
}

// verdict compares a ratio with what it has to be.
func (b bound) verdict(ratio float64) string {
	switch {
	case b == bound{}:
		return ""
	case b.AtMost > 0 && ratio <= b.AtMost, b.AtLeast > 0 && ratio >= b.AtLeast:
		return "ok"
	}
	return "MISSED"
}

// line is one comparison. Its ratio is the median of the rounds' ratios: what
// else the machine does hits both sides of a round alike.
type line struct {
	Backend  string    `json:"backend"`
	What     string    `json:"what"`
	Ratio    float64   `json:"ratio"`
	Bound    bound     `json:"bound"`
	Verdict  string    `json:"verdict,omitempty"` // ok or MISSED
	Rounds   []float64 `json:"rounds"`
	Measured float64   `json:"measured"` // medians, in Unit
	Baseline float64   `json:"baseline"`
	Unit     string    `json:"unit"`
}

// fact is a figure that is stated, not compared.
type fact struct {
	Backend string  `json:"backend"`
	What    string  `json:"what"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
}

// report collects what the benchmarks find.
type report struct {
	When      time.Time `json:"when"`
	Version   string    `json:"version"`
	GoVersion string    `json:"go_version"`
	CPUs      int       `json:"cpus"`
	Lines     []line    `json:"lines"`
	Facts     []fact    `json:"facts"`
}

func newReport() *report {
	return &report{When: time.Now().UTC(), Version: Version(), GoVersion: runtime.Version(), CPUs: runtime.GOMAXPROCS(0)}
}

// compare runs both sides in turns, each first in every other round, and notes
// the ratio of the measured to the baseline. -benchtime=7x makes seven rounds.
func (r *report) compare(b *testing.B, backend, what string, by figure, limit bound, measured, baseline func() sample) {
	b.Helper()
	l := line{Backend: backend, What: what, Bound: limit, Unit: by.unit}
	var one, other []float64
	measured() // unmeasured: caches fill, connections open
	baseline()
	for b.Loop() {
		sides := []func(){
			func() { one = append(one, by.of(measured())) },
			func() { other = append(other, by.of(baseline())) },
		}
		if len(one)%2 == 1 {
			slices.Reverse(sides)
		}
		for _, side := range sides {
			side()
		}
		l.Rounds = append(l.Rounds, one[len(one)-1]/other[len(other)-1])
	}
	l.Ratio, l.Measured, l.Baseline = median(l.Rounds), median(one), median(other)
	l.Verdict = limit.verdict(l.Ratio)
	r.Lines = append(r.Lines, l)
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(l.Ratio, "ratio")
	if limit.AtMost > 0 {
		b.ReportMetric(limit.AtMost, "at_most")
	}
	if limit.AtLeast > 0 {
		b.ReportMetric(limit.AtLeast, "at_least")
	}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// String is the report for people.
func (r *report) String() string {
	var s strings.Builder
	fmt.Fprintf(&s, "\n%s, %d CPUs shared by client and server. A ratio is the median of its rounds, their spread beside it;\n"+
		"the two noise lines measure the baseline against itself: their spread is the machine's.\n\n", r.GoVersion, r.CPUs)
	for _, l := range r.Lines {
		fmt.Fprintf(&s, "%-9s %-70s %7.2f  %-14s %-7s (%.2f to %.2f; %.1f to %.1f %s)\n",
			l.Backend, l.What, l.Ratio, l.Bound, l.Verdict, slices.Min(l.Rounds), slices.Max(l.Rounds), l.Measured, l.Baseline, l.Unit)
	}
	for _, f := range r.Facts {
		fmt.Fprintf(&s, "%-9s %-70s %7.1f  %s\n", f.Backend, f.What, f.Value, f.Unit)
	}
	return s.String()
}

// write keeps the report as JSON where STEELYARD_BENCH_JSON says, if it does.
func (r *report) write() error {
	path := os.Getenv("STEELYARD_BENCH_JSON")
	if path == "" {
		return nil
	}
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Clean(path), append(text, '\n'), 0o644)
}
