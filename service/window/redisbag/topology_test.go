//go:build unix

package redisbag_test

import (
	"strings"
	"testing"
	"time"

	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
)

func TestBag_InACluster(t *testing.T) {
	r := redistest.Start(t, "--cluster-enabled", "yes")
	if err := r.Client.ClusterAddSlotsRange(t.Context(), 0, 16383).Err(); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if info, _ := r.Client.ClusterInfo(t.Context()).Result(); strings.Contains(info, "cluster_state:ok") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the cluster does not form")
		}
	}
	s := open(t, r, r.Addr+"?cluster=true", nil)
	s.mustGet(t, alice, 0, redisbag.Miss)
	s.put(t, alice, 5)
	s.put(t, bob, 6)
	s.mustGet(t, alice, 5, redisbag.Hit)
	s.mustGet(t, bob, 6, redisbag.Hit)
	s.Forget(t.Context(), alice)
	s.mustGet(t, alice, 0, redisbag.Miss)
}

// TestBag_SentinelPromotesAReplicaThatLags: the main server hangs for good, the
// replica never heard of the last fills, and the answers are right all the while.
func TestBag_SentinelPromotesAReplicaThatLags(t *testing.T) {
	main := redistest.Start(t)
	replica := redistest.Start(t, "--replicaof", strings.Replace(main.Addr, ":", " ", 1))
	sentinel := redistest.StartSentinel(t, "main", main)
	s := open(t, main, sentinel+"?master_name=main", func(o *redisbag.Options) { o.Budget, o.Pause = 300*time.Millisecond, 50*time.Millisecond })
	src, tr := s.source()
	healthy(t, s, src, tr)
	for deadline := time.Now().Add(15 * time.Second); replica.Client.DBSize(t.Context()).Val() == 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the replica does not follow")
		}
	}
	redistest.WaitReplica(t, sentinel, "main")
	replica.Pause() // it lags from here on
	tr.mu.Lock()
	tr.revisions[alice]++
	tr.mu.Unlock()
	healthy(t, s, src, tr)
	main.Pause()
	replica.Resume()
	for deadline := time.Now().Add(40 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		s.mustServe(t, src, tr, alice)
		s.mustServe(t, src, tr, bob)
		role, _ := replica.Client.Info(t.Context(), "replication").Result()
		if strings.Contains(role, "role:master") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the sentinel promotes nobody")
		}
	}
	for deadline := time.Now().Add(20 * time.Second); s.mustServe(t, src, tr, bob) != window.FromBag; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the one that was promoted is not used")
		}
	}
	main.Resume()
}
