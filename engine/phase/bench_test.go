package phase

import (
	"slices"
	"testing"
	"time"

	"example.com/steelyard/engine/balance"
)

// reviewed is a plan with 90 days of log, on the morning of a review.
func reviewed() *trainee {
	p := cutting(1, 80)
	p.morning()
	return p
}

func BenchmarkRecommend90(b *testing.B) {
	p := reviewed()
	b.ReportAllocs()
	for b.Loop() {
		Recommend(p.window, p.profile, p.plan, p.today())
	}
}

// BenchmarkRatio prints what a recommendation costs in relation to the estimator
// alone (filter and smoother over the same days, in pooled memory), as "ratio"
// beside what it has to be. The two take turns, so that whatever else the machine
// does hits both; each counts with the median of the rounds.
func BenchmarkRatio(b *testing.B) {
	p := reviewed()
	in := balance.Inputs(p.window, &p.plan, p.today())
	_, g, ok := new(Scratch).track(p.window, p.profile, &p.plan, p.today())
	if !ok || len(in) < 90 {
		b.Fatalf("%d days, started %v", len(in), ok)
	}
	b.Run("recommend/estimator,90_days", func(b *testing.B) {
		var scratch balance.Scratch
		var one, other []float64
		for b.Loop() {
			one = append(one, nsOf(func() { Recommend(p.window, p.profile, p.plan, p.today()) }))
			other = append(other, nsOf(func() { scratch.Smooth(p.window.First, in, g) }))
		}
		slices.Sort(one)
		slices.Sort(other)
		b.ReportMetric(one[len(one)/2]/other[len(other)/2], "ratio")
		b.ReportMetric(3, "at_most")
	})
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
