package convert

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

func TestZones(t *testing.T) {
	z := zoneTable{known: map[string]*time.Location{}}
	for _, name := range []string{"Europe/Vienna", "UTC", "Pacific/Kiritimati", "Europe/Vienna"} {
		want, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if got, err := z.of(name); err != nil || got.String() != want.String() {
				t.Errorf("%s: %v, %v", name, got, err)
			}
		}
	}
	first, _ := z.of("Europe/Vienna")
	if again, _ := z.of("Europe/Vienna"); first != again {
		t.Error("a zone is read again")
	}
	for range 2 {
		if _, err := z.of("Mars/Olympus"); err == nil {
			t.Error("Mars/Olympus is a zone")
		}
	}
	if len(z.known) != 3 {
		t.Errorf("%d zones are held", len(z.known))
	}
}

// TestZones_AreBounded: a full table still answers, and holds no more.
func TestZones_AreBounded(t *testing.T) {
	z := zoneTable{known: map[string]*time.Location{}}
	for i := range maxZones {
		z.known[fmt.Sprint(i)] = time.UTC
	}
	for i := range 3 {
		name := "Europe" + strings.Repeat("/", i+1) + "Vienna"
		if want, err := time.LoadLocation(name); err == nil {
			if got, err := z.of(name); err != nil || got.String() != want.String() {
				t.Errorf("%s: %v, %v", name, got, err)
			}
		}
	}
	if _, held := z.known["Europe/Vienna"]; held || len(z.known) != maxZones {
		t.Errorf("%d zones are held", len(z.known))
	}
}
