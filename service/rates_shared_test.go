//go:build unix

package service_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/window/redistest"
)

// TestRates_ReplicasShareThem over one Redis: what one has let through, the other
// one does not again. When Redis hangs, each answers and counts alone.
func TestRates_ReplicasShareThem(t *testing.T) {
	r, dir := redistest.Start(t), t.TempDir()
	replica := func() *running {
		return startWith(t, func(c *service.Config) {
			c.DataDir, c.KeyRate, c.RedisURL = dir, 1, service.Secret("redis://"+r.Addr)
		})
	}
	one, two := replica(), replica()
	call := func(x *running, token string) codes.Code {
		_, err := x.trainees().GetTrainee(x.as(token), &pb.GetTraineeRequest{Name: "trainees/none"})
		return status.Code(err)
	}
	// A busy machine may miss the budget, and the replica counts alone for once: so
	// until a key has had its ten calls at one of them within Redis' sight.
	shared := false
	for range 20 {
		token := one.key("tenant-a", access.ScopeNames()...)
		for range 10 {
			call(one, token)
		}
		if shared = call(two, token) == codes.ResourceExhausted; shared {
			break
		}
	}
	if !shared {
		t.Error("a key that has had its ten calls has ten more at the other replica")
	}
	metrics := string(one.admin("GET", "/metrics").body)
	if !strings.Contains(metrics, `steelyard_rate_events_total{event="shared"}`) {
		t.Errorf("not told in the metrics:\n%s", metrics)
	}

	r.Pause()
	defer r.Resume()
	token := one.key("tenant-a", access.ScopeNames()...)
	for _, x := range []*running{one, two} {
		calls := 0
		for ; calls < 500; calls++ {
			if code := call(x, token); code == codes.ResourceExhausted {
				break
			} else if code != codes.NotFound {
				t.Errorf("call %d: %v", calls, code)
			}
		}
		if calls < 10 || calls == 500 {
			t.Errorf("refused after %d calls while Redis hangs", calls)
		}
	}
}
