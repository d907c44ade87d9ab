//go:build unix

package service

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/service/window/redistest"
)

// benchOnPostgres serves from PostgreSQL as it comes, every commit on the disk,
// with windows in Redis and in the process.
func benchOnPostgres(b *testing.B, r *report) {
	db, err := pgtest.Start()
	if errors.Is(err, pgtest.ErrNoBinaries) {
		b.Skip(err)
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(db.Close)
	redis := redistest.Start(b)
	place := func(name string) benchPlace {
		if err := db.Exec("postgres", `CREATE DATABASE `+name+` OWNER `+pgtest.Owner); err != nil {
			b.Fatal(err)
		}
		return benchPlace{Store: db.URL(pgtest.Runtime, name), Owner: db.URL(pgtest.Owner, name), Bags: "redis://" + redis.Addr}
	}
	m := measuring{startBench(b, place("log")), r, "postgres"}
	m.people(b)
	m.can(b)
	m.reads(b, 2.2, 2.5)
	m.writes(b, "64 durable writers to one", bound{})
	inside := connect(b, db.SuperURL("log"))
	m.copies(b, inside, connect(b, db.URL(pgtest.Owner, "log")))
	m.sizes(b, redis)

	few, many := place("few"), place("many")
	m.crowds(b, crowd(b, db, few, "few", 1000), crowd(b, db, many, "many", peopleCount(b)))
}

// connect opens a connection that ends with the benchmark.
func connect(b *testing.B, url string) *pgx.Conn {
	b.Helper()
	c, err := pgx.Connect(b.Context(), url)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = c.Close(context.Background()) })
	return c
}

// copies compares uploads with COPY, by the owner and into a table of the shape of
// the entry table without partitions and policies: the rows encoded beforehand,
// each batch a transaction, or all in one.
func (m measuring) copies(b *testing.B, inside, owner *pgx.Conn) {
	entries := logOf(1, backfillFirst, backfillDays)
	before := schemaBytes(b, inside)
	first, trainee := m.benchClient.backfills(b, 1, entries)
	m.state("backfilled entry on the disk, with roll-ups", (schemaBytes(b, inside)-before)/first.count, "bytes")

	if _, err := owner.Exec(b.Context(), `CREATE SCHEMA bench; CREATE TABLE bench.entry (LIKE steelyard.entry INCLUDING ALL)`); err != nil {
		b.Fatal(err)
	}
	columns, rows := copyRowsOf(b, inside, strings.TrimPrefix(trainee, "trainees/"))
	whose := slices.Index(columns, "trainee")
	bulk := func(batch int) func() sample {
		return func() sample {
			name := uuid.NewString()
			for _, r := range rows {
				r[whose] = name
			}
			began := time.Now()
			for part := range slices.Chunk(rows, batch) {
				if _, err := owner.CopyFrom(b.Context(), pgx.Identifier{"bench", "entry"}, columns, pgx.CopyFromRows(part)); err != nil {
					b.Fatal(err)
				}
			}
			return sample{count: float64(len(rows)), took: time.Since(began)}
		}
	}
	bulk(backfillBatch)()
	var size float64
	if err := inside.QueryRow(b.Context(), `SELECT pg_total_relation_size('bench.entry')::float8`).Scan(&size); err != nil {
		b.Fatal(err)
	}
	m.state("the same in a plain entry table alone", size/float64(len(rows)), "bytes")

	fresh := func(streams int) func() sample {
		return func() sample { s, _ := m.benchClient.backfills(b, streams, entries); return s }
	}
	again := func() sample { return m.upload(b, []string{trainee}, entries) }
	with := func(what string, streams int) string { return fmt.Sprintf("%s, streams: %d", what, streams) }
	for _, c := range []struct {
		what     string
		limit    bound
		measured func() sample
		batch    int
	}{
		{with("durable backfill to COPY in batches of the same size", 1), bound{}, fresh(1), backfillBatch},
		{with("durable backfill to COPY in batches of the same size", backfillStreams), atLeast(0.9), fresh(backfillStreams), backfillBatch},
		{with("durable backfill to one COPY", 1), bound{}, fresh(1), len(rows)},
		{with("durable backfill to one COPY", backfillStreams), atLeast(0.65), fresh(backfillStreams), len(rows)},
		{"identical backfill again to COPY in batches of the same size", atLeast(0.7), again, backfillBatch},
	} {
		b.Run(named(c.what), func(b *testing.B) {
			m.report.compare(b, m.backend, c.what, perSecond, c.limit, c.measured, bulk(c.batch))
		})
	}
}

// copyRowsOf reads a trainee's rows of the entry table, in the order of its key.
func copyRowsOf(b *testing.B, inside *pgx.Conn, trainee string) (columns []string, out [][]any) {
	b.Helper()
	rows, err := inside.Query(b.Context(), `SELECT * FROM steelyard.entry WHERE trainee = $1 ORDER BY day`, trainee)
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	for _, f := range rows.FieldDescriptions() {
		columns = append(columns, f.Name)
	}
	for rows.Next() {
		row, err := rows.Values()
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, row)
	}
	if err := rows.Err(); err != nil || len(out) == 0 {
		b.Fatalf("%d rows of %s: %v", len(out), trainee, err)
	}
	return columns, out
}

// schemaBytes is how much of the disk the service's tables and indexes take.
func schemaBytes(b *testing.B, inside *pgx.Conn) (bytes float64) {
	b.Helper()
	if err := inside.QueryRow(b.Context(), `SELECT sum(pg_total_relation_size(oid))::float8 FROM pg_class
		WHERE relnamespace = 'steelyard'::regnamespace AND relkind = 'r'`).Scan(&bytes); err != nil {
		b.Fatal(err)
	}
	return bytes
}

// sizes states what a window takes in Redis, of those that are there.
func (m measuring) sizes(b *testing.B, redis *redistest.Server) {
	b.Helper()
	keys, err := redis.Client.Keys(b.Context(), "*").Result()
	if err != nil || len(keys) == 0 {
		b.Fatalf("%d windows in Redis: %v", len(keys), err)
	}
	var memory, value []float64
	for _, k := range keys {
		n, err := redis.Client.MemoryUsage(b.Context(), k, 0).Result()
		if err != nil {
			b.Fatal(err)
		}
		l, err := redis.Client.StrLen(b.Context(), k).Result()
		if err != nil {
			b.Fatal(err)
		}
		memory, value = append(memory, float64(n)), append(value, float64(l))
	}
	m.state("a trainee's window in Redis, all in all (MEMORY USAGE)", median(memory), "bytes")
	m.state("the sealed value of it", median(value), "bytes")
}

// peopleCount is how many trainees the larger crowd has; STEELYARD_BENCH_PEOPLE
// says another number.
func peopleCount(b *testing.B) int {
	text := os.Getenv("STEELYARD_BENCH_PEOPLE")
	if text == "" {
		return 20_000
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 2 {
		b.Fatalf("STEELYARD_BENCH_PEOPLE: %q is not a number of trainees", text)
	}
	return n
}

// crowded is a service with so many trainees of one log.
type crowded struct {
	*benchClient
	people int
	asked  atomic.Int64
}

// crowd starts a service over a database and fills that with copies of one trainee
// with a plan and a log: everything that a read meets, and no entries, which none
// reads.
func crowd(b *testing.B, db *pgtest.Server, at benchPlace, name string, people int) *crowded {
	b.Helper()
	c := &crowded{benchClient: startBench(b, at), people: people}
	c.person(b, 0)
	inside := connect(b, db.SuperURL(name))
	for _, table := range []string{"trainee", "plan", "decision", "day_rollup"} {
		rows, err := inside.Query(b.Context(), `SELECT column_name::text FROM information_schema.columns WHERE table_schema = 'steelyard' AND table_name = $1`, table)
		if err != nil {
			b.Fatal(err)
		}
		columns, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			b.Fatal(err)
		}
		copied := slices.Clone(columns)
		copied[slices.Index(copied, "trainee")] = `'t' || n`
		if _, err := inside.Exec(b.Context(), fmt.Sprintf(`INSERT INTO steelyard.%s (%s) SELECT %s FROM generate_series(1, $1) n, steelyard.%s WHERE trainee = 't0'`,
			table, strings.Join(columns, ","), strings.Join(copied, ","), table), people-1); err != nil {
			b.Fatal(err)
		}
	}
	if _, err := inside.Exec(b.Context(), `VACUUM ANALYZE`); err != nil {
		b.Fatal(err)
	}
	return c
}

// spread is a trainee of the crowd, neighbours far apart, and never the one that
// was copied, who has been asked about already.
func (c *crowded) spread(n int) int { return 1 + int(uint64(n)*7919%uint64(c.people-1)) }

// miss asks for windows that no bag has: of a trainee for the first time, or with
// an earlier first day than the last time.
func (c *crowded) miss(int, int) (time.Duration, error) {
	n := int(c.asked.Add(1)) - 1
	req := ask(c.spread(n))
	req.AsOfDate = benchDay(benchDays - 1 - n/(c.people-1))
	return c.recommends(req, pb.WindowSource_WINDOW_SOURCE_STORE)
}

// warm asks again and again for some of the crowd.
func (c *crowded) warm(_, n int) (time.Duration, error) {
	req := ask(c.spread(n % benchCallers))
	req.AsOfDate = benchDay(benchDays)
	return c.recommends(req, pb.WindowSource_WINDOW_SOURCE_SNAPSHOT)
}

// crowds compares reads among many trainees with reads among few.
func (m measuring) crowds(b *testing.B, few, many *crowded) {
	for _, c := range []*crowded{few, many} {
		for n := range benchCallers { // fill the bags
			req := ask(c.spread(n))
			req.AsOfDate = benchDay(benchDays)
			if _, err := pb.NewPhaseServiceClient(c.conn).Recommend(c.ctx, req); err != nil {
				b.Fatal(err)
			}
		}
	}
	what := func(kind string) string {
		return fmt.Sprintf("%s recommendation among %d trainees to among %d", kind, many.people, few.people)
	}
	for _, c := range []struct {
		kind      string
		few, many benchCall
	}{{"warm", few.warm, many.warm}, {"missed", few.miss, many.miss}} {
		b.Run(named(what(c.kind)), func(b *testing.B) {
			m.report.compare(b, m.backend, what(c.kind), waitP50, atMost(1.3),
				func() sample { return many.load(b, 1, sliceTime, c.many) },
				func() sample { return few.load(b, 1, sliceTime, c.few) })
		})
	}
}
