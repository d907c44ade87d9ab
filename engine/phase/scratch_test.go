package phase

import (
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"
)

// TestScratch_TellsTheSame as memory made anew, whoever was before, and what it
// told stays as it was.
func TestScratch_TellsTheSame(t *testing.T) {
	var m Scratch
	const n = 2000
	told, fresh := make([]Recommendation, n), make([]Recommendation, n)
	refused := 0
	for seed := range uint64(n) {
		w, p, plan, asOf := randomCase(rand.New(rand.NewPCG(seed, 12)))
		told[seed], fresh[seed] = m.Recommend(w, p, plan, asOf), Recommend(w, p, plan, asOf)
		if e := fresh[seed].Estimate; e != nil && len(e.Refused) > 0 {
			refused++
		}
	}
	for seed := range told {
		if !reflect.DeepEqual(told[seed], fresh[seed]) {
			t.Fatalf("seed %d: %+v\nin memory made anew: %+v", seed, told[seed], fresh[seed])
		}
	}
	if refused < 100 {
		t.Errorf("only %d had refused readings, which are the scratch's", refused)
	}
}

// TestScratch_TakesMostOfTheMemory of a recommendation, so that it is worth having.
func TestScratch_TakesMostOfTheMemory(t *testing.T) {
	p := reviewed()
	bytes := func(f func()) uint64 {
		const n = 100
		f()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		for range n {
			f()
		}
		runtime.ReadMemStats(&after)
		return (after.TotalAlloc - before.TotalAlloc) / n
	}
	var m Scratch
	with := bytes(func() { m.Recommend(p.window, p.profile, p.plan, p.today()) })
	without := bytes(func() { Recommend(p.window, p.profile, p.plan, p.today()) })
	if with > without/2 {
		t.Errorf("%d bytes with a scratch, %d without", with, without)
	}
}
