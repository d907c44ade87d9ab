package redisbag

import (
	"strings"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
)

func TestClient_Forms(t *testing.T) {
	for _, c := range []struct {
		url   string
		check func(redis.UniversalClient) bool
	}{
		{"redis://user:pw@h:1/2", func(u redis.UniversalClient) bool {
			o := u.(*redis.Client).Options()
			return o.Addr == "h:1" && o.DB == 2 && o.Username == "user" && o.Password == "pw" && o.TLSConfig == nil && o.MaxRetries == 0 && o.ContextTimeoutEnabled && o.DialTimeout == time.Second
		}},
		{"rediss://h:1?max_retries=9&dial_timeout=2s", func(u redis.UniversalClient) bool {
			o := u.(*redis.Client).Options()
			return o.TLSConfig != nil && o.MaxRetries == 0 && o.DialTimeout == 2*time.Second
		}},
		{"redis://h:1?master_name=main&addr=i:2", func(u redis.UniversalClient) bool {
			o := u.(*redis.Client).Options()
			return o.Addr == "FailoverClient" && o.MaxRetries == 0 && o.ContextTimeoutEnabled
		}},
		{"redis://h:1?addr=i:2", func(u redis.UniversalClient) bool {
			o := u.(*redis.ClusterClient).Options()
			return len(o.Addrs) == 2 && o.MaxRetries == -1 && o.ContextTimeoutEnabled
		}},
		{"redis://h:1?cluster=true", func(u redis.UniversalClient) bool {
			return len(u.(*redis.ClusterClient).Options().Addrs) == 1
		}},
	} {
		client, err := Client(c.url)
		if err != nil {
			t.Errorf("%s: %v", c.url, err)
			continue
		}
		if !c.check(client) {
			t.Errorf("%s: %T", c.url, client)
		}
		_ = client.Close()
	}
}

func TestClient_RefusesAndKeepsThePassword(t *testing.T) {
	for _, u := range []string{
		"", "h:1", "http://u:hunter2@h", "redis://u:hunter2@h:1/x", "redis://u:hunter2@h:1?nonsense=1", "redis://u:hunter2@h:1?addr=x&nonsense=1",
		"redis://u:hunter2@h:\x01", "redis://u:hunter2%zz@h", "redis://u:hunter2@h:1?master_name=m&nonsense=1",
		"redis://u:hunter2@h:1?master_name=m&route_randomly=true", "redis://u:hunter2@h:1?read_timeout=hunter",
	} {
		client, err := Client(u)
		if err == nil {
			t.Errorf("%q is taken", u)
			_ = client.Close()
			continue
		}
		if strings.Contains(err.Error(), "hunter2") {
			t.Errorf("the password shows: %v", err)
		}
	}
}
