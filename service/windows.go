package service

import (
	"context"
	"fmt"

	"example.com/steelyard/service/phases"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/telemetry"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/tiered"
)

// windows is where windows are read, what is computed of them is held, and how
// both are forgotten when a trainee is erased.
type windows struct {
	source *window.Source
	memo   *phases.Memo
	forget func(context.Context, store.Scope)
}

// openWindows puts an in-process bag before the store, and Redis between the two
// where replicas are to share.
func (a *App) openWindows(tel *telemetry.Telemetry) (windows, error) {
	count, err := tel.WindowCounter()
	if err != nil {
		return windows{}, err
	}
	mismatch, err := tel.MismatchCounter()
	if err != nil {
		return windows{}, err
	}
	loaded, computed, err := tel.AheadCounters()
	if err != nil {
		return windows{}, err
	}
	near, err := window.NewLocal(bagDays)
	if err != nil {
		return windows{}, fmt.Errorf("window bag: %w", err)
	}
	memo, err := phases.NewMemo(memoBytes)
	if err != nil {
		return windows{}, fmt.Errorf("memo: %w", err)
	}
	options := []window.Option{
		window.Checked(uint(max(a.cfg.CheckWindows, 0)), mismatch),
		window.CountAhead(loaded),
		window.Ahead(func(s store.Scope, snap store.Snapshot) {
			if memo.Renew(s, snap) {
				computed(context.Background())
			}
		}, a.log),
	}
	if a.cfg.RedisURL == "" {
		source := a.newSource(near, count, options...)
		return windows{source, memo, func(_ context.Context, s store.Scope) {
			source.Forget(s) // first: it keeps what is under way from the others
			memo.Forget(s)
			near.Forget(s)
		}}, nil
	}
	far, err := a.openRedis(tel)
	if err != nil {
		return windows{}, err
	}
	both := tiered.New(near, far)
	source := a.newSource(both, count, append(options, window.Overlapped())...)
	return windows{source, memo, func(ctx context.Context, s store.Scope) {
		source.Forget(s) // first: it keeps what is under way from the others
		memo.Forget(s)
		both.Forget(func() { near.Forget(s) })
		far.Forget(ctx, s)
	}}, nil
}

// newSource makes a source that is closed before the store is.
func (a *App) newSource(bag window.Bag, count window.Counter, options ...window.Option) *window.Source {
	s := window.NewSource(a.store, bag, count, options...)
	a.closers.add(s.Close)
	return s
}

// openRedis opens the shared bag. With another pepper it starts empty.
func (a *App) openRedis(tel *telemetry.Telemetry) (*redisbag.Bag, error) {
	count, err := tel.BagCounter()
	if err != nil {
		return nil, err
	}
	secret, err := a.keyring.secret("window bag", redisbag.MinSecret)
	if err != nil {
		return nil, err
	}
	client, err := redisbag.Client(string(a.cfg.RedisURL))
	if err != nil {
		return nil, fmt.Errorf("redis-url: %w", err)
	}
	bag, err := redisbag.New(client, redisbag.Options{Secret: secret, Count: count, Log: a.log})
	if err != nil {
		return nil, fmt.Errorf("window bag: %w", err)
	}
	a.closers.add(func(ctx context.Context) error { return bag.Close(ctx) })
	return bag, nil
}
