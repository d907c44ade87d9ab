package packed

import (
	"encoding/json"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

func BenchmarkAppend(b *testing.B) {
	s := usual(90)
	buf := make([]byte, 0, 4096)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Append(buf, s); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDecode reports beside the time of 90 days how many times longer
// encoding/json takes in the same run: at least 30.
func BenchmarkDecode(b *testing.B) {
	s := usual(90)
	data := mustAppend(b, s)
	text, err := json.Marshal(s)
	if err != nil {
		b.Fatal(err)
	}
	each := func(n int, f func() error) float64 {
		start := time.Now()
		for range n {
			if err := f(); err != nil {
				b.Fatal(err)
			}
		}
		return float64(time.Since(start)) / float64(n)
	}
	slow := each(300, func() error { var s store.Snapshot; return json.Unmarshal(text, &s) })
	fast := each(10000, func() error { _, err := Decode(data); return err })
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(data); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(slow/fast, "x_json(>=30)")
	b.ReportMetric(float64(len(data)), "bytes(<=1100)")
	b.ReportMetric(float64(len(text)), "json_bytes")
}

// BenchmarkDecodeWhole is the same with a plan, six decisions and 90 lift days.
func BenchmarkDecodeWhole(b *testing.B) {
	data := mustAppend(b, whole(90))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(data); err != nil {
			b.Fatal(err)
		}
	}
}
