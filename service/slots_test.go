package service

import (
	"runtime"
	"testing"
)

func TestSlots(t *testing.T) {
	n := runtime.GOMAXPROCS(0)
	for _, c := range []struct {
		name string
		cfg  Config
		want slots
	}{
		{"SQLite", Config{}, slots{4 * n, 32 * n}},
		{"SQLite, as configured", Config{MaxInFlight: 3}, slots{3, 24}},
		{"PostgreSQL", Config{StoreURL: "postgres://h/d"}, slots{16 * n, 0}},
		{"PostgreSQL, as configured", Config{StoreURL: "postgresql://h/d", MaxInFlight: 3}, slots{3, 0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.cfg.slots(); got != c.want {
				t.Errorf("%+v, want %+v", got, c.want)
			}
		})
	}
}
