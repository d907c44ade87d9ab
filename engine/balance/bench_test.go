package balance

import (
	"math/rand/v2"
	"testing"
)

func benchmarkRun(b *testing.B, days int) {
	in := randomInputs(rand.New(rand.NewPCG(7, 7)), days)
	g := Guess{Kcal: 2500}
	b.ReportAllocs()
	for b.Loop() {
		Run(0, in, g)
	}
}

func BenchmarkRun90(b *testing.B)  { benchmarkRun(b, 90) }
func BenchmarkRun400(b *testing.B) { benchmarkRun(b, 400) }
