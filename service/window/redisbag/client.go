package redisbag

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/maintnotifications"
)

// dialTimeout bounds the making of a connection, which goes on behind the read
// that asked for it.
const dialTimeout = time.Second

// Client returns a client for a URL:
//
//	redis://[user:password@]host:port[/db]                          one server
//	redis://host:port?master_name=main[&addr=host:port...]          the sentinels of one
//	redis://host:port?addr=host:port[&addr=...]                     seeds of a cluster
//	redis://host:port?cluster=true                                  one seed of a cluster
//
// rediss:// is the same over TLS. Other parameters are those of go-redis; what
// the bag rests on (no retries, deadlines that hold) is set whatever they say.
// The errors do not hold the URL, which may have a password.
func Client(address string) (redis.UniversalClient, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, errors.New("redis url: it is not a URL")
	}
	q := u.Query()
	cluster := q.Get("cluster") == "true"
	q.Del("cluster")
	u.RawQuery = q.Encode()
	switch {
	case q.Has("master_name"):
		o, err := redis.ParseFailoverURL(u.String())
		if err != nil {
			return nil, refused(err)
		}
		set(&o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity, &o.DialTimeout)
		if o.RouteByLatency || o.RouteRandomly {
			return nil, errors.New("redis url: route_by_latency and route_randomly are not for sentinels")
		}
		return redis.NewFailoverClient(o), nil
	case cluster || q.Has("addr"):
		o, err := redis.ParseClusterURL(u.String())
		if err != nil {
			return nil, refused(err)
		}
		set(&o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity, &o.DialTimeout)
		o.MaintNotificationsConfig = quiet()
		return redis.NewClusterClient(o), nil
	}
	o, err := redis.ParseURL(u.String())
	if err != nil {
		return nil, refused(err)
	}
	set(&o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity, &o.DialTimeout)
	o.MaintNotificationsConfig = quiet()
	return redis.NewClient(o), nil
}

// ValidateURL says what is wrong with a URL, showing none of it. It connects to
// nothing.
func ValidateURL(address string) error {
	client, err := Client(address)
	if err != nil {
		return err
	}
	return client.Close()
}

// set sets what the bag rests on. A retry would double the wait, and a call
// without its deadline could wait for seconds.
func set(retries, dials *int, deadlines, nameless *bool, dial *time.Duration) {
	*retries, *dials, *deadlines, *nameless = -1, 1, true, true
	if *dial == 0 {
		*dial = dialTimeout
	}
}

// quiet leaves a command out that servers other than the newest refuse.
func quiet() *maintnotifications.Config {
	return &maintnotifications.Config{Mode: maintnotifications.ModeDisabled}
}

func refused(err error) error {
	var malformed *url.Error // the only one that repeats the whole URL
	if errors.As(err, &malformed) {
		return errors.New("redis url: it is not a URL")
	}
	return fmt.Errorf("redis url: %w", err)
}

// go-redis has one logger for the whole process and tells it of every
// connection that fails. Of that the breaker's two lines are enough.
func init() { redis.SetLogger(silence{}) }

type silence struct{}

func (silence) Printf(context.Context, string, ...any) {}
