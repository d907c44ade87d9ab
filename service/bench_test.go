//go:build unix

package service

import (
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// BenchmarkService measures the whole service, each figure as a ratio to a
// baseline of the same run, and prints what the ratio has to be beside it.
// Server and clients are two processes. STEELYARD_BENCH_JSON names a file for
// the figures, STEELYARD_BENCH_PROFILES a folder for CPU profiles of the server.
func BenchmarkService(b *testing.B) {
	r := newReport()
	b.Run("sqlite", func(b *testing.B) { benchOnSQLite(b, r) })
	b.Run("postgres", func(b *testing.B) { benchOnPostgres(b, r) })
	fmt.Print(r)
	if err := r.write(); err != nil {
		b.Fatal(err)
	}
}

// benchOnSQLite serves from a file, with windows in the process.
func benchOnSQLite(b *testing.B, r *report) {
	at := benchPlace{DataDir: b.TempDir()}
	m := measuring{startBench(b, at), r, "sqlite"}
	m.people(b)
	m.can(b)
	m.reads(b, 1.5, 2)
	m.chain(b)
	m.writes(b, "64 durable writers to one", bound{})
	m.backfills(b, filepath.Join(at.DataDir, "steelyard.db"))
	b.Run("slow-disk", func(b *testing.B) { benchOnSlowDisk(b, r) })
}

// benchOnSlowDisk compares writers where a sync takes as long as on a disk that
// answers once the data are safe, and not from a memory before it. What writers share
// is the wait for it: where there is none, processors are all that they can share.
func benchOnSlowDisk(b *testing.B, r *report) {
	m := measuring{startBench(b, benchPlace{DataDir: b.TempDir(), SyncTakes: time.Millisecond}), r, "sqlite"}
	m.people(b)
	m.writes(b, "64 durable writers to one, a sync takes 1 ms more", atLeast(12))
}

// measuring is one backend under way.
type measuring struct {
	*benchClient
	report  *report
	backend string
}

// side is one side of a comparison.
type side struct {
	callers int
	call    benchCall
}

// loads compares two kinds of call.
func (m measuring) loads(b *testing.B, what string, by figure, limit bound, measured, baseline side) {
	b.Run(named(what), func(b *testing.B) {
		sampled := func(s side) func() sample {
			return func() sample { return m.load(b, s.callers, sliceTime, s.call) }
		}
		m.report.compare(b, m.backend, what, by, limit, sampled(measured), sampled(baseline))
		if m.profileInto == "" {
			return
		}
		for which, s := range map[string]side{"measured": measured, "baseline": baseline} {
			name := named(what) + "-" + which + ".pprof"
			m.command(b, benchCommand{Profile: filepath.Join(m.profileInto, name)})
			m.load(b, s.callers, profileTime, s.call)
			m.command(b, benchCommand{Stop: true})
		}
	})
}

// named is a sentence as the name of a benchmark and of a file.
func named(what string) string { return strings.NewReplacer(" ", "-", ",", "", ":", "").Replace(what) }

// can gives the canned service the recommendation that the real one gives.
func (m measuring) can(b *testing.B) {
	answer, err := pb.NewPhaseServiceClient(m.conn).Recommend(m.ctx, ask(0))
	if err != nil {
		b.Fatal(err)
	}
	encoded, err := proto.Marshal(answer)
	if err != nil {
		b.Fatal(err)
	}
	m.command(b, benchCommand{Canned: encoded})
	same := &pb.Recommendation{}
	if err := m.conn.Invoke(m.ctx, cannedRecommend, ask(0), same); err != nil || !proto.Equal(same, answer) {
		b.Fatalf("the canned answer is another: %v", err)
	}
	m.state("size of the recommendation", float64(len(encoded)), "bytes")
}

// invoke calls a method of the canned service.
func (m measuring) invoke(conn *grpc.ClientConn, method string, answer func() proto.Message) benchCall {
	return timed(func(caller, _ int) error { return conn.Invoke(m.ctx, method, ask(caller), answer()) })
}

// canned is the answer through all the interceptors.
func (m measuring) canned() benchCall {
	return m.invoke(m.conn, cannedRecommend, func() proto.Message { return &pb.Recommendation{} })
}

// warm finds the window in the bag, and the answer in the memo.
func (m measuring) warm(caller, _ int) (time.Duration, error) {
	return m.recommends(ask(caller), pb.WindowSource_WINDOW_SOURCE_SNAPSHOT)
}

// computed finds the window in the bag. The memo holds a trainee's last answer
// only, which is for another day.
func (m measuring) computed(caller, n int) (time.Duration, error) {
	req := ask(caller)
	req.AsOfDate = benchDay(benchDays - 1 + n%2)
	return m.recommends(req, pb.WindowSource_WINDOW_SOURCE_SNAPSHOT)
}

// reads compares recommendations. The two bounds are for one that is warm, by
// server CPU, and for one after a write, by time.
func (m measuring) reads(b *testing.B, warm, afterWrite float64) {
	for _, callers := range []int{16, benchCallers} {
		with := func(what string) string { return fmt.Sprintf("%s, callers: %d", what, callers) }
		canned := side{callers, m.canned()}
		m.loads(b, with("noise: canned to canned"), cpuPerCall, bound{}, canned, canned)
		m.loads(b, with("warm recommendation to canned"), cpuPerCall, atMost(warm), side{callers, m.warm}, canned)
		m.loads(b, with("warm window, computed answer to canned"), cpuPerCall, bound{}, side{callers, m.computed}, canned)
	}
	one, after := side{1, m.warm}, side{1, m.logThenAsk(1, false)}
	m.loads(b, "recommendation after a write to warm", waitP50, atMost(afterWrite), after, one)
	m.loads(b, "recommendation after a write to warm window, computed answer", waitP50, bound{}, after, side{1, m.computed})
	m.loads(b, "recommendation after three writes to warm", waitP50, bound{}, side{1, m.logThenAsk(3, false)}, one)
	m.loads(b, "write and recommendation together to warm", waitP50, bound{}, side{1, m.logThenAsk(1, true)}, one)
	// A processor that has waited for the disk begins cold, and of many callers most
	// wait for their write: this baseline writes as much, but elsewhere.
	m.loads(b, "recommendation after a write elsewhere to warm", waitP50, bound{}, side{1, m.logElsewhereThenAsk}, one)
	for _, callers := range []int{1, 16} {
		m.loads(b, fmt.Sprintf("recommendation after a write to one after a write elsewhere, callers: %d", callers), waitP50, atMost(afterWrite),
			side{callers, m.logThenAsk(1, false)}, side{callers, m.logElsewhereThenAsk})
	}
}

// chain compares the ways in and out.
func (m measuring) chain(b *testing.B) {
	empty := func() proto.Message { return &emptypb.Empty{} }
	for _, callers := range []int{16, benchCallers} {
		with := func(what string) string { return fmt.Sprintf("%s, callers: %d", what, callers) }
		m.loads(b, with("full stack to bare gRPC, nothing to do"), cpuPerCall, atMost(1.4),
			side{callers, m.invoke(m.conn, cannedNothing, empty)}, side{callers, m.invoke(m.bare, cannedNothing, empty)})
		m.loads(b, with("JSON recommendation to plain handler"), cpuPerCall, atMost(1.6),
			side{callers, m.get(m.ready.HTTP, 1)}, side{callers, m.get(m.ready.Plain, 1)})
		m.loads(b, with("JSON of a computed recommendation to plain handler"), cpuPerCall, bound{},
			side{callers, m.get(m.ready.HTTP, 2)}, side{callers, m.get(m.ready.Plain, 1)})
	}
}

// logThenAsk writes so often and asks: once is the commonest pair of calls, of which
// the window may have been loaded again by the time of the question; of several
// writes, about which nobody asks in between, it has not. The writes count as waiting
// or they do not.
func (m measuring) logThenAsk(times int, both bool) benchCall {
	shown := make([]string, benchCallers) // revisions
	return func(caller, n int) (time.Duration, error) {
		began := time.Now()
		for range times {
			if err := m.logs(caller, n); err != nil {
				return 0, err
			}
		}
		asking := time.Now()
		r, err := pb.NewPhaseServiceClient(m.conn).Recommend(m.ctx, ask(caller))
		now := time.Now()
		if err == nil && r.GetRevision() == shown[caller] {
			err = fmt.Errorf("the recommendation of %s does not see the write", r.GetPlan())
		}
		shown[caller] = r.GetRevision()
		if both {
			return now.Sub(began), err
		}
		return now.Sub(asking), err
	}
}

// logElsewhereThenAsk writes as much, but to another trainee.
func (m measuring) logElsewhereThenAsk(caller, n int) (time.Duration, error) {
	if err := m.logs(caller+16, n); err != nil {
		return 0, err
	}
	return m.recommends(ask(caller), pb.WindowSource_WINDOW_SOURCE_SNAPSHOT)
}

// get asks for a recommendation as JSON, in turn as of so many days: the memo holds
// the last one only.
func (m measuring) get(address string, days int) benchCall {
	var asOf []string
	for n := range days {
		on := benchDay(benchDays - 1 + n)
		asOf = append(asOf, fmt.Sprintf("%04d-%02d-%02d", on.GetYear(), on.GetMonth(), on.GetDay()))
	}
	return timed(func(caller, n int) error {
		url := "http://" + address + "/v1/" + benchTrainee(caller) + "/plans/p:recommend?asOfDate=" + asOf[n%days]
		req, err := http.NewRequestWithContext(m.ctx, http.MethodGet, url, nil)
		if err != nil {
			return err
		}
		req.Header.Set("Authorization", "Bearer "+m.ready.Token)
		resp, err := m.web.Do(req)
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err == nil && (resp.StatusCode != http.StatusOK || len(body) < 1000) {
			err = fmt.Errorf("%s: %s", resp.Status, body)
		}
		return err
	})
}

// writes compares many callers that log with one. Each write is on the disk
// before it is acknowledged.
func (m measuring) writes(b *testing.B, what string, limit bound) {
	write := timed(m.logs)
	m.loads(b, what, perSecond, limit, side{benchCallers, write}, side{1, write})
}

// backfills compares uploads, over gRPC and on the disk when acknowledged, with
// a bulk insert into the same table.
func (m measuring) backfills(b *testing.B, file string) {
	entries := logOf(1, backfillFirst, backfillDays)
	before := bytesUsed(b, file)
	_, trainee := m.benchClient.backfills(b, 1, entries)
	m.state("backfilled entry on the disk, with roll-ups", (bytesUsed(b, file)-before)/float64(len(entries)), "bytes")
	rows := rowsOf(b, file, trainee)
	_, bulk := rows.bulkInsert(b)
	m.state("the same in the entry table alone", bytesUsed(b, bulk)/float64(len(entries)), "bytes")
	for _, streams := range []int{1, 8} {
		what := fmt.Sprintf("durable backfill to bulk insert, streams: %d", streams)
		b.Run(named(what), func(b *testing.B) {
			m.report.compare(b, m.backend, what, perSecond, atLeast(0.5),
				func() sample { s, _ := m.benchClient.backfills(b, streams, entries); return s },
				func() sample { s, _ := rows.bulkInsert(b); return s })
		})
	}
}

func (m measuring) state(what string, value float64, unit string) {
	m.report.Facts = append(m.report.Facts, fact{m.backend, what, value, unit})
}
