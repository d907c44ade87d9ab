package service

import (
	"context"
	"crypto/hkdf"
	"crypto/sha256"
	"fmt"

	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/telemetry"
	"example.com/steelyard/service/window/redisbag"
)

// openRates returns what makes a rate of a kind: of this process alone, or of all
// replicas together where they share a Redis. That has a client of its own, so
// that neither rates nor windows wait for a connection of the other.
func (a *App) openRates(tel *telemetry.Telemetry) (func(kind string, perSecond int) chain.Rate, error) {
	if a.cfg.RedisURL == "" {
		return func(_ string, perSecond int) chain.Rate { return limit.NewRates(perSecond) }, nil
	}
	count, err := tel.RateCounter()
	if err != nil {
		return nil, err
	}
	secret, err := hkdf.Key(sha256.New, a.keyring.pepper, nil, "steelyard rates", sha256.Size)
	if err != nil {
		return nil, fmt.Errorf("secret of the rates: %w", err)
	}
	client, err := redisbag.Client(string(a.cfg.RedisURL))
	if err != nil {
		return nil, fmt.Errorf("redis-url: %w", err)
	}
	a.closers.add(func(context.Context) error { return client.Close() })
	shared := limit.NewRedis(client, limit.RedisOptions{Secret: secret, Count: count, Log: a.log})
	return func(kind string, perSecond int) chain.Rate { return shared.Rates(kind, perSecond) }, nil
}
