package convert

import (
	"sync"
	"time"
	_ "time/tzdata" // so that zones are known on a machine without them
)

// maxZones bounds what is held: there are some 600 names, but each can be spelt
// in many ways that the file system takes for the same.
const maxZones = 1000

// zones holds the time zones that were asked for: each is a file, read and taken
// apart, and a read of a trainee's data asks for one. New rules of a zone take
// effect with the next start.
var zones = zoneTable{known: map[string]*time.Location{}}

type zoneTable struct {
	mu    sync.RWMutex
	known map[string]*time.Location
}

// of returns the zone of a name.
func (z *zoneTable) of(name string) (*time.Location, error) {
	z.mu.RLock()
	loc, ok := z.known[name]
	z.mu.RUnlock()
	if ok {
		return loc, nil
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, err
	}
	z.mu.Lock()
	defer z.mu.Unlock()
	if len(z.known) < maxZones {
		z.known[name] = loc
	}
	return loc, nil
}
