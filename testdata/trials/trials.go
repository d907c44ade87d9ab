// Package trials says how often tests do something at random, and of which seed.
package trials

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// Count is how often something random is done: ordinarily, and where
// STEELYARD_SOAK is set.
func Count(ordinarily, soak int) int {
	if os.Getenv("STEELYARD_SOAK") != "" {
		return soak
	}
	return ordinarily
}

// Chance is a source of random numbers whose seed is told; SEED sets it.
func Chance(t *testing.T) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	if given := os.Getenv("SEED"); given != "" {
		var err error
		if seed, err = strconv.ParseUint(given, 10, 64); err != nil {
			t.Fatalf("SEED: %v", err)
		}
	}
	t.Logf("SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// Apart is another source of random numbers, for another goroutine.
func Apart(rng *rand.Rand) *rand.Rand { return rand.New(rand.NewPCG(rng.Uint64(), rng.Uint64())) }
