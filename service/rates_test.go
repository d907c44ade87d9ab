package service

import (
	"encoding/json"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
)

// TestRates_OverBothWays: a key, or a trainee, that is asked for too often is
// refused in the same way by gRPC and by JSON, and another one is not. The
// metrics count it and name neither.
func TestRates_OverBothWays(t *testing.T) {
	for outcome, cfg := range map[string]Config{"key_rate": {KeyRate: 1}, "trainee_rate": {KeyRate: -1, TraineeRate: 1}} {
		t.Run(outcome, func(t *testing.T) {
			t.Parallel()
			x := newTarget(t, cfg)
			call := x.reader("gym")
			var err error
			calls := 0
			for ; err == nil && calls < 200; calls++ {
				err = call(t.Context(), 0)
			}
			s := status.Convert(err)
			after, told := fault.RetryAfter(s)
			if calls < 10 || s.Code() != codes.ResourceExhausted || !told || after <= 0 || after > time.Second {
				t.Fatalf("call %d: %v, to come again after %v", calls, err, after)
			}
			if reason := s.Details()[0].(*errdetails.ErrorInfo).GetReason(); reason != fault.ReasonRateLimited {
				t.Errorf("reason %s", reason)
			}

			token, _, err := x.app.Keyring().Issue(t.Context(), "gym", "test", access.ScopeNames(), time.Time{})
			if err != nil {
				t.Fatal(err)
			}
			got := get(t, x.app.HTTPAddress(), "/v1/trainees/t1", token)
			for i := 0; got.code == http.StatusOK && i < 200; i++ {
				got = get(t, x.app.HTTPAddress(), "/v1/trainees/t1", token)
			}
			var problem struct {
				Code    string
				Details []struct{ Reason string }
			}
			if err := json.Unmarshal(got.body, &problem); err != nil {
				t.Fatalf("%v: %s", err, got.body)
			}
			seconds, err := strconv.Atoi(got.header.Get("Retry-After"))
			if got.code != http.StatusTooManyRequests || err != nil || seconds != 1 || problem.Code != "RESOURCE_EXHAUSTED" ||
				len(problem.Details) != 2 || problem.Details[0].Reason != fault.ReasonRateLimited {
				t.Errorf("by JSON: %d, Retry-After %q, %s", got.code, got.header.Get("Retry-After"), got.body)
			}

			if err := x.reader("another-gym")(t.Context(), 0); err != nil {
				t.Errorf("another tenant's: %v", err)
			}
			metrics := string(get(t, x.app.AdminAddress(), "/metrics", "").body)
			if !strings.Contains(metrics, `outcome="`+outcome+`"`) || !strings.Contains(metrics, `gate="key_lookup",outcome="admitted"`) || strings.Contains(metrics, "gym") || strings.Contains(metrics, "t1\"") {
				t.Errorf("metrics:\n%s", metrics)
			}
		})
	}
}

// TestKeyLookups_AreFewAtOnce: calls that have not been admitted yet take no
// more of the store's connections than those that have. Each has a key of its
// own: those of one key share a look-up.
func TestKeyLookups_AreFewAtOnce(t *testing.T) {
	x := newTarget(t, Config{MaxInFlight: 2})
	var tokens []string
	for range 40 {
		tokens = append(tokens, x.issue("gym", "test"))
	}
	x.lookupTakes.Store(int64(5 * time.Millisecond))
	var all sync.WaitGroup
	for i, token := range tokens {
		all.Go(func() {
			if i%2 == 0 {
				ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
				// Some are refused later, for want of a slot.
				_, _ = pb.NewTraineeServiceClient(x.conns[0]).GetTrainee(ctx, &pb.GetTraineeRequest{Name: "trainees/t1"})
				return
			}
			_ = get(t, x.app.HTTPAddress(), "/v1/trainees/t1", token)
		})
	}
	all.Wait()
	if most := x.mostLookups.Load(); most != 2 {
		t.Errorf("%d keys were looked up at once, with 2 slots", most)
	}
}

type got struct {
	code   int
	header http.Header
	body   []byte
}

func get(t *testing.T, address, path, token string) got {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), "GET", "http://"+address+path, nil)
	if err != nil {
		t.Error(err)
		return got{}
	}
	req.Header.Set("Authorization", "Bearer "+token)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Error(err)
		return got{}
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Error(err)
		return got{}
	}
	return got{resp.StatusCode, resp.Header, body}
}
