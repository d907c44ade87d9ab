package balance

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// benchInputs is a log as a person keeps it: readings and intake on most days,
// a target, no typing errors.
func benchInputs(days int) ([]Input, Guess) {
	p := newPerson(rand.New(rand.NewPCG(7, 7)))
	p.missing, p.unlogged = 0.15, 0.15
	in, _ := p.cut(days - 1)
	return in, p.guess
}

func benchmarkRun(b *testing.B, days int) {
	in, g := benchInputs(days)
	b.ReportAllocs()
	for b.Loop() {
		Run(0, in, g)
	}
}

func BenchmarkRun90(b *testing.B)  { benchmarkRun(b, 90) }
func BenchmarkRun400(b *testing.B) { benchmarkRun(b, 400) }

func benchmarkSmooth(b *testing.B, days int) {
	in, g := benchInputs(days)
	var scratch Scratch
	scratch.Smooth(0, in, g)
	b.ReportAllocs()
	for b.Loop() {
		scratch.Smooth(0, in, g)
	}
}

func BenchmarkSmooth90(b *testing.B)   { benchmarkSmooth(b, 90) }
func BenchmarkSmooth400(b *testing.B)  { benchmarkSmooth(b, 400) }
func BenchmarkSmooth3650(b *testing.B) { benchmarkSmooth(b, 3650) }

// BenchmarkRatio prints what the estimator (filter and smoother, pooled) costs in
// relation to others, as "ratio" beside what it has to be. The two take turns, so
// that whatever else the machine does hits both.
func BenchmarkRatio(b *testing.B) {
	estimator := func(days int) func() {
		in, g := benchInputs(days)
		scratch := new(Scratch)
		return func() { scratch.Smooth(0, in, g) }
	}
	naive := func(days int) func() {
		in, g := benchInputs(days)
		return func() {
			r := runReference(in, g)
			r.filtered()
			r.smoothed()
		}
	}
	b.Run("naive/estimator,90_days", func(b *testing.B) {
		b.ReportMetric(ratio(b, naive(90), estimator(90)), "ratio")
		b.ReportMetric(40, "at_least")
	})
	b.Run("400/90_days", func(b *testing.B) {
		b.ReportMetric(ratio(b, estimator(400), estimator(90)), "ratio")
		b.ReportMetric(5, "at_most")
	})
	b.Run("3650/400_days", func(b *testing.B) {
		b.ReportMetric(ratio(b, estimator(3650), estimator(400)), "ratio")
		b.ReportMetric(3650./400, "linear")
	})
}

// ratio returns what one call of the first costs in calls of the second, each in
// the median of the rounds.
func ratio(b *testing.B, first, second func()) float64 {
	var one, other []float64
	for b.Loop() {
		one, other = append(one, nsOf(first)), append(other, nsOf(second))
	}
	return median(one) / median(other)
}

func nsOf(f func()) float64 {
	const atLeast = 300 * time.Microsecond
	began, n := time.Now(), 0
	for n == 0 || time.Since(began) < atLeast {
		f()
		n++
	}
	return float64(time.Since(began)) / float64(n)
}

func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}
