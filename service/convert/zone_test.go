package convert

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"
)

func TestZoneCache(t *testing.T) {
	nowhere := errors.New("nowhere")
	var mu sync.Mutex
	read := map[string]int{}
	c := zoneCache{read: func(name string) (*time.Location, error) {
		mu.Lock()
		defer mu.Unlock()
		if read[name]++; name == "Mars/Olympus" {
			return nil, nowhere
		}
		return time.FixedZone(name, 60), nil
	}}
	var all sync.WaitGroup
	for i := range 2*maxZones + 10 {
		all.Go(func() {
			name := fmt.Sprint("zone ", i)
			if zone, err := c.zone(name); err != nil || zone.String() != name {
				t.Errorf("%s is %v: %v", name, zone, err)
			}
		})
	}
	all.Wait()
	if n := len(c.byName); n == 0 || n > maxZones {
		t.Errorf("%d zones are kept", n)
	}
	for range 2 {
		if zone, err := c.zone("Europe/Vienna"); err != nil || zone.String() != "Europe/Vienna" {
			t.Errorf("%v: %v", zone, err)
		}
		if zone, err := c.zone("Mars/Olympus"); !errors.Is(err, nowhere) {
			t.Errorf("Mars has a zone: %v, %v", zone, err)
		}
	}
	if read["Europe/Vienna"] != 1 || read["Mars/Olympus"] != 2 {
		t.Errorf("read %d and %d times", read["Europe/Vienna"], read["Mars/Olympus"])
	}
}
