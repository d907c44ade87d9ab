package convert

import (
	"sync"
	"time"
	_ "time/tzdata" // so that zones are known on a machine without them
)

// zones holds the zones that have been asked for, since each is a file: 20 us.
var zones = zoneCache{read: time.LoadLocation}

// maxZones is more than there are; but one has many names, such as Europe//Berlin.
const maxZones = 1000

type zoneCache struct {
	read   func(name string) (*time.Location, error)
	mu     sync.RWMutex
	byName map[string]*time.Location
}

func (c *zoneCache) zone(name string) (*time.Location, error) {
	c.mu.RLock()
	known := c.byName[name]
	c.mu.RUnlock()
	if known != nil {
		return known, nil
	}
	zone, err := c.read(name)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.byName == nil || len(c.byName) == maxZones {
		c.byName = map[string]*time.Location{}
	}
	c.byName[name] = zone
	return zone, nil
}
