package service_test

import (
	"os"
	"strconv"
	"testing"
	"time"
)

// seedOf is the seed of a randomised test; SEED=... makes the same run again.
func seedOf(t testing.TB) uint64 {
	t.Helper()
	text := os.Getenv("SEED")
	if text == "" {
		return uint64(time.Now().UnixNano())
	}
	seed, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		t.Fatalf("SEED: %v", err)
	}
	return seed
}
