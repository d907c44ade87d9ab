package gateway

import (
	"flag"
	"testing"
)

// fixSeed makes rapid draw the same cases in each run, unless one was asked for.
func fixSeed(t *testing.T) {
	t.Helper()
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() == "0" {
		if err := seed.Value.Set("20260301"); err != nil {
			t.Fatal(err)
		}
	}
}
