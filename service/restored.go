package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.com/steelyard/service/store/postgres"
	"example.com/steelyard/service/store/sqlite"
)

// Restored tells the store that cfg names that it was put back to an earlier
// state, before anything serves it: whoever holds a window of the lost time, as
// Redis may, must not find it true again. It returns how many trainees there are.
func Restored(ctx context.Context, cfg Config) (trainees int, err error) {
	cfg = cfg.WithDefaults()
	if err := cfg.validateStore(); err != nil {
		return 0, err
	}
	if cfg.onPostgres() {
		if cfg.StoreOwnerURL == "" {
			return 0, errors.New("store-owner-url: must be set: only the owner of the schema may change every trainee")
		}
		return postgres.Restored(ctx, string(cfg.StoreOwnerURL))
	}
	path, err := cfg.sqlitePath()
	if err != nil {
		return 0, err
	}
	s, err := sqlite.Open(ctx, path, time.Now)
	if err != nil {
		return 0, fmt.Errorf("open store: %w", err)
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return s.Restored(ctx)
}
