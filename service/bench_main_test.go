//go:build unix

package service

import (
	"fmt"
	"os"
	"testing"
)

// TestMain makes the test binary the benchmarks' server when they start it as
// one: their clients share no process with it, so that its CPU is its own.
func TestMain(m *testing.M) {
	if place := os.Getenv(benchServerEnv); place != "" {
		if err := serveBench(os.Stdin, os.Stdout, place); err != nil {
			fmt.Fprintln(os.Stderr, "benchmark server:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}
