package packed

import (
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"testing"
	"time"

	"example.com/steelyard/engine"
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
// encoding/json takes in the same run, at least 30, and the time without making
// the memory of the days, which depends on how busy the collector is.
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
	room := make([]engine.WindowDay, len(s.Window.Days))
	intoRoom := func() error {
		clear(room)
		end := len(data) - crc32.Size
		if crc32.Checksum(data[:end], checksum) != binary.LittleEndian.Uint32(data[end:]) {
			return ErrDamaged
		}
		r := reader{rest: data[1:end]}
		r.head()
		r.trainee()
		r.plan()
		win := engine.Window{First: r.day(0), Days: room[:r.uvarint()]}
		if r.fill(&win); r.bad || len(r.rest) != 0 {
			return ErrDamaged
		}
		return nil
	}
	slow := each(300, func() error { var s store.Snapshot; return json.Unmarshal(text, &s) })
	fast := each(10000, func() error { _, err := Decode(data); return err })
	inRoom := each(10000, intoRoom)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(data); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(slow/fast, "x_json(>=30)")
	b.ReportMetric(inRoom, "ns_in_room(<=3000)")
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
