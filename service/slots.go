package service

import (
	"runtime"

	"example.com/steelyard/service/limit"
)

const (
	// A call over PostgreSQL waits for the database most of its time, and the more of
	// them wait, the more share a statement.
	slotsPerProcessorOnPostgres = 16
	// Writes over SQLite wait for one commit that they share: the more, the fewer
	// commits. Over PostgreSQL each takes a connection.
	writesPerSlotOnSQLite = 8
)

// slots are how many calls are worked on at once.
type slots struct {
	all    int
	writes int // in slots of their own; 0: they have those of all else
}

// slots returns what is configured, or what suits the store and the machine.
func (c Config) slots() slots {
	all := c.MaxInFlight
	switch {
	case c.onPostgres() && all == 0:
		all = slotsPerProcessorOnPostgres * runtime.GOMAXPROCS(0)
	case all == 0:
		all = limit.SlotsPerProcessor * runtime.GOMAXPROCS(0)
	}
	if c.onPostgres() {
		return slots{all: all}
	}
	return slots{all, writesPerSlotOnSQLite * all}
}
