//go:build unix

package service_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
)

// A service that is pointed at a standby does not start; one whose database turns
// into a standby is not ready and serves nothing from it, since a read there may be
// older than an acknowledged write. Both mend by themselves once there is a primary.
func TestStandbyIsRefused(t *testing.T) {
	db := startPostgres(t)
	r := startWith(t, func(c *service.Config) { onPostgres(c, db) })
	r.trainee("t1")
	read := func() error {
		_, err := r.trends().GetWeightTrend(r.ctx(), &pb.GetWeightTrendRequest{Name: "trainees/t1/weightTrend", StartDate: day(0), EndDate: day(0)})
		return err
	}
	if err := read(); err != nil {
		t.Fatal(err)
	}
	db.Stop()
	if err := db.Standby(); err != nil {
		t.Fatal(err)
	}
	if err := db.Run(); err != nil {
		t.Fatal(err)
	}
	cfg := onLoopback(t.TempDir())
	onPostgres(&cfg, db)
	cfg.StoreOwnerURL = "" // as in a start that is not the first
	if app, err := service.New(t.Context(), cfg); err == nil || !strings.Contains(err.Error(), "standby") {
		t.Errorf("a start on a standby: %v", err)
		if err == nil {
			_ = app.Close()
		}
	}
	for range 20 { // also once the connections of before are gone
		if got := r.admin("GET", "/readyz"); got.status != 503 {
			t.Errorf("readiness: %d %s", got.status, got.body)
		}
		if err := read(); status.Code(err) != codes.Unavailable {
			t.Errorf("read of a standby: %v", err)
		}
	}
	if err := db.Exec("postgres", `SELECT pg_promote()`); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if ready := r.admin("GET", "/readyz"); ready.status == 200 {
			break
		} else if time.Now().After(deadline) {
			t.Fatalf("readiness after the takeover: %d %s", ready.status, ready.body)
		}
	}
	if err := read(); err != nil {
		t.Errorf("read after the takeover: %v", err)
	}
}
