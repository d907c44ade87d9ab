//go:build linux

package service_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/testdata/trials"
)

// A data folder on a real disk that fills up: writes are refused as what a retry
// may mend, reads go on, nothing that was acknowledged is lost, and with room again
// writes go on without a restart.
func TestFullDisk(t *testing.T) {
	dir := smallDisk(t, "8m")
	r := startWith(t, func(c *service.Config) { c.DataDir, c.KeyRate = dir, -1 })
	r.trainee("t1")
	acked := map[int]bool{}
	write := func(n int) error {
		e := intake(n, 2000)
		e.Note = strings.Repeat("n", 500)
		req := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
		for i := range 20 { // of one day, so that the day is there wholly or not at all
			e := &pb.Entry{Date: e.GetDate(), Fact: e.GetFact(), Note: e.GetNote(), Key: string(rune('a' + i))}
			req.Entries = append(req.Entries, e)
		}
		_, err := r.logbook().BatchCreateEntries(r.ctx(), req)
		return err
	}
	days := func() map[int]int {
		t.Helper()
		out := map[int]int{}
		req := &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: 1000}
		for {
			page, err := r.logbook().ListEntries(r.ctx(), req)
			if err != nil {
				t.Fatalf("read on a full disk: %v", err)
			}
			for _, e := range page.GetEntries() {
				out[offsetOf(e)]++
			}
			if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
				return out
			}
		}
	}
	check := func() {
		t.Helper()
		stored := days()
		for n := range acked {
			if stored[n] != 20 {
				t.Errorf("acknowledged day %d: %d of 20 entries", n, stored[n])
			}
		}
		for n, parts := range stored {
			if parts != 20 {
				t.Errorf("day %d: %d of 20 entries", n, parts)
			}
		}
	}
	rng := trials.Chance(t)
	refused := 0
	for round, n := 0, 0; round < trials.Count(5, 20); round++ {
		// Something else fills the disk, but for room for some writes.
		ballast := filepath.Join(dir, "ballast")
		fillDisk(t, ballast, int64(rng.IntN(300<<10)))
		full := 0
		for most := n + 200; full < 3 && n < most; n++ {
			err := write(n)
			if err == nil {
				acked[n], full = true, 0
				continue
			}
			full++
			refused++
			if c := status.Code(err); c != codes.Unavailable && c != codes.ResourceExhausted {
				t.Fatalf("full disk: %v", err)
			}
		}
		if full < 3 {
			t.Fatalf("round %d: the disk did not fill up", round)
		}
		check()
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		n++
		var err error
		for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
			if err = write(n); err == nil || time.Now().After(deadline) {
				break
			}
		}
		if err != nil {
			t.Fatalf("with room again: %v", err)
		}
		acked[n] = true
		n++
		check()
	}
	if got := r.admin("GET", "/readyz"); got.status != 200 {
		t.Errorf("readiness: %d %s", got.status, got.body)
	}
	t.Logf("%d writes acknowledged, %d refused", len(acked), refused)
}

// offsetOf is the day of an entry as day counts it.
func offsetOf(e *pb.Entry) int {
	at := time.Date(int(e.GetDate().GetYear()), time.Month(e.GetDate().GetMonth()), int(e.GetDate().GetDay()), 0, 0, 0, 0, time.UTC)
	return int(at.Sub(time.Date(2025, 3, 3, 0, 0, 0, 0, time.UTC)).Hours() / 24)
}

// smallDisk mounts a file system of its own. Who may not mount skips.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("steelyard-test", dir, "tmpfs", 0, "size="+size+",mode=0700"); err != nil {
		t.Skipf("a small disk needs the right to mount: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fillDisk writes until nothing more fits, and then leaves some room.
func fillDisk(t *testing.T, path string, room int64) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	block := make([]byte, 64<<10)
	for err == nil {
		_, err = f.Write(block)
	}
	at, seekErr := f.Seek(0, io.SeekCurrent)
	cut := f.Truncate(at - room)
	if closed := errors.Join(seekErr, cut, f.Close()); !errors.Is(err, syscall.ENOSPC) || closed != nil {
		t.Fatalf("fill the disk: %v, %v", err, closed)
	}
}
