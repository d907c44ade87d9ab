package limit

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"log/slog"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/sony/gobreaker/v2"
)

// RedisEvent is what became of one use of Redis by the shared rates.
type RedisEvent string

// Events. After all but the first the rate of this process alone has decided.
const (
	RateShared  RedisEvent = "shared"  // Redis decided
	RateFailed  RedisEvent = "failed"  // an error, or no answer within the budget
	RateSkipped RedisEvent = "skipped" // not asked, since the breaker is open
)

const (
	// redisTrips is how many failures in a row open the breaker.
	redisTrips = 5
	// nameBytes of a MAC: 192 bits, so that two ids never share a name.
	nameBytes = 24
)

// RedisOptions are all optional but Secret.
type RedisOptions struct {
	// Secret, the same on every replica. Names in Redis come from it, so that no
	// id lies there in clear.
	Secret []byte
	// Budget is how long a call waits for Redis. 5 ms when zero.
	Budget time.Duration
	// Pause is how long Redis is left alone after it failed several times. 1 s when zero.
	Pause time.Duration

	Count func(context.Context, RedisEvent) // must not block; nil: not counted
	Log   *slog.Logger                      // hears when the breaker opens and closes; nil: silent
}

// Redis keeps rates that replicas share. It is not trusted to be there: a process
// whose Redis is away or slow goes on with a rate of its own, and nothing is
// refused for that.
type Redis struct {
	client  redis.Scripter
	opt     RedisOptions
	breaker *gobreaker.CircuitBreaker[time.Duration]
}

// NewRedis returns rates over a client, which stays the caller's to close.
func NewRedis(client redis.Scripter, opt RedisOptions) *Redis {
	if opt.Budget == 0 {
		opt.Budget = 5 * time.Millisecond
	}
	if opt.Pause == 0 {
		opt.Pause = time.Second
	}
	if opt.Count == nil {
		opt.Count = func(context.Context, RedisEvent) {}
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	r := &Redis{client: client, opt: opt}
	r.breaker = gobreaker.NewCircuitBreaker[time.Duration](gobreaker.Settings{
		Timeout:       opt.Pause,
		ReadyToTrip:   func(c gobreaker.Counts) bool { return c.ConsecutiveFailures >= redisTrips },
		OnStateChange: r.turned,
		IsExcluded:    func(err error) bool { return errors.Is(err, errGaveUp) },
	})
	return r
}

// errGaveUp says that the caller left: nothing is learnt about Redis.
var errGaveUp = errors.New("shared rates: the caller gave up")

func (r *Redis) turned(_ string, _, to gobreaker.State) {
	switch to {
	case gobreaker.StateOpen:
		r.opt.Log.Warn("rates: Redis does not answer; each replica counts alone", "pause", r.opt.Pause)
	case gobreaker.StateClosed:
		r.opt.Log.Info("rates: Redis answers again")
	}
}

// Rates returns a rate of so many a second for each id of a kind, and ten
// seconds' worth at once, as NewRates does, over all replicas together.
func (r *Redis) Rates(kind string, perSecond int) *SharedRates {
	local := NewRates(perSecond)
	return &SharedRates{redis: r, kind: kind, local: local, interval: max(local.interval.Truncate(time.Microsecond), time.Microsecond)}
}

// SharedRates is a rate in Redis, with one of this process alone beside it for
// when Redis is away.
type SharedRates struct {
	redis    *Redis
	kind     string
	local    *Rates
	interval time.Duration // whole microseconds, which is what Redis counts in
}

// Take counts one. Zero is go ahead; otherwise it was not counted and may be
// tried again after so long.
func (s *SharedRates) Take(ctx context.Context, id string) time.Duration {
	// What is too often here is too often altogether: a flood never reaches Redis.
	if wait := s.local.wait(id); wait > 0 {
		return wait
	}
	wait, err := s.redis.breaker.Execute(func() (time.Duration, error) { return s.ask(ctx, id) })
	switch {
	case err == nil:
		s.redis.opt.Count(ctx, RateShared)
		if wait == 0 {
			s.local.Take(ctx, id) // so that it knows when Redis goes away; Redis has decided
		}
		return wait
	case errors.Is(err, gobreaker.ErrOpenState) || errors.Is(err, gobreaker.ErrTooManyRequests):
		s.redis.opt.Count(ctx, RateSkipped)
	default:
		s.redis.opt.Count(ctx, RateFailed)
	}
	return s.local.Take(ctx, id)
}

// generic is the same algorithm as in Rates, in microseconds of the one clock that
// all replicas share: Redis' own. ARGV are the interval and how early a cell may
// come. A time that is further ahead than it can be was set by a clock that went
// wrong, or by somebody else, and counts for nothing.
var generic = redis.NewScript(`
local interval, early = tonumber(ARGV[1]), tonumber(ARGV[2])
local time = redis.call('TIME')
local now = time[1] * 1000000 + time[2]
local due = tonumber(redis.call('GET', KEYS[1]))
if not due or not (due > now and due <= now + early + interval) then due = now end
local wait = due - now - early
if wait > 0 then return wait end
redis.call('SET', KEYS[1], string.format('%d', due + interval), 'PX', math.ceil((due + interval - now) / 1000))
return 0
`)

// ask lets Redis decide. It waits no longer than the budget.
func (s *SharedRates) ask(ctx context.Context, id string) (time.Duration, error) {
	asking, cancel := context.WithTimeout(ctx, s.redis.opt.Budget)
	defer cancel()
	early := burstTime - s.interval
	wait, err := generic.Run(asking, s.redis.client, []string{s.name(id)}, s.interval.Microseconds(), early.Microseconds()).Int64()
	switch {
	case err != nil && ctx.Err() != nil:
		return 0, errGaveUp
	case err != nil:
		return 0, err
	case wait < 0 || wait > s.interval.Microseconds():
		return 0, errors.New("shared rates: Redis answers nonsense")
	}
	return time.Duration(wait) * time.Microsecond, nil
}

// name is the key in Redis: one a call, so a cluster needs no hash tag.
func (s *SharedRates) name(id string) string {
	mac := hmac.New(sha256.New, s.redis.opt.Secret)
	mac.Write([]byte(s.kind + "\x00" + id))
	return "r1:" + base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:nameBytes])
}
