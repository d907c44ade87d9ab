//go:build unix

package service

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store/sqlite"
)

const (
	backfillDays  = 2500 // of four entries each
	backfillFirst = -2600
	backfillBatch = 500
	// As of the program's own client: batches under way, and trainees at once.
	backfillAhead   = 16
	backfillStreams = 4
)

// backfill uploads a log of years to a trainee and returns when all of it is on
// the disk.
func (c *benchClient) backfill(trainee string, entries []*pb.Entry) error {
	ctx, cancel := context.WithCancel(c.ctx)
	defer cancel()
	stream, err := pb.NewLogbookServiceClient(c.conn).BackfillEntries(ctx)
	if err != nil {
		return err
	}
	opening := &pb.BackfillOpening{Parent: trainee, UploadId: uuid.NewString(), ContentSha256: strings.Repeat("a", 64)}
	if err := stream.Send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: opening}}); err != nil {
		return err
	}
	if _, err := stream.Recv(); err != nil {
		return err
	}
	batches := slices.Collect(slices.Chunk(entries, backfillBatch))
	committed := int32(0)
	for sent, acknowledged := 0, 0; acknowledged < len(batches); {
		if sent < len(batches) && sent-acknowledged < backfillAhead {
			batch := &pb.BackfillBatch{Seq: int32(sent), Entries: batches[sent]}
			if err := stream.Send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: batch}}); err != nil {
				return err
			}
			sent++
			continue
		}
		a, err := stream.Recv()
		if err != nil {
			return err
		}
		acknowledged, committed = int(a.GetNextSeq()), a.GetCommittedCount()
	}
	if int(committed) != len(entries) {
		return fmt.Errorf("of %d entries %d are committed", len(entries), committed)
	}
	return stream.CloseSend()
}

// backfills has so many streams at once upload a log each, to trainees that
// have none, and returns the sample and the last one's trainee.
func (c *benchClient) backfills(b *testing.B, streams int, entries []*pb.Entry) (sample, string) {
	b.Helper()
	var names []string
	for range streams {
		name := "trainees/" + uuid.NewString()
		c.trainee(b, name)
		names = append(names, name)
	}
	return c.upload(b, names, entries), names[streams-1]
}

// upload uploads a log to each of some trainees at once.
func (c *benchClient) upload(b *testing.B, names []string, entries []*pb.Entry) sample {
	b.Helper()
	errs := make([]error, len(names))
	began := time.Now()
	var done sync.WaitGroup
	for i, name := range names {
		done.Go(func() { errs[i] = c.backfill(name, entries) })
	}
	done.Wait()
	took := time.Since(began)
	if err := errors.Join(errs...); err != nil {
		b.Fatal(err)
	}
	return sample{count: float64(len(names) * len(entries)), took: took}
}

// entryRows are rows of the store's entry table as they are, and its columns.
type entryRows struct {
	columns []string
	values  []any // row after row
}

// rowsOf reads a trainee's rows from the server's file.
func rowsOf(b *testing.B, file, trainee string) entryRows {
	b.Helper()
	db := openSQLite(b, file, "")
	rows, err := db.QueryContext(b.Context(), `SELECT * FROM entry WHERE trainee_id = (SELECT id FROM trainee WHERE trainee = ?)`, strings.TrimPrefix(trainee, "trainees/"))
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	var out entryRows
	if out.columns, err = rows.Columns(); err != nil {
		b.Fatal(err)
	}
	for rows.Next() {
		row, into := make([]any, len(out.columns)), make([]any, len(out.columns))
		for i := range row {
			into[i] = &row[i]
		}
		if err := rows.Scan(into...); err != nil {
			b.Fatal(err)
		}
		out.values = append(out.values, row...)
	}
	if err := rows.Err(); err != nil || len(out.values) == 0 {
		b.Fatalf("%d rows of %s: %v", len(out.values)/len(out.columns), trainee, err)
	}
	return out
}

// bulkRows is how many rows one statement of the bulk insert has.
const bulkRows = 50

// bulkInsert writes the rows into the same table of an empty database, in one
// transaction that no disk has to confirm: what the backfill is measured against.
func (e entryRows) bulkInsert(b *testing.B) (sample, string) {
	b.Helper()
	file := filepath.Join(b.TempDir(), "bulk.db")
	s, err := sqlite.Open(b.Context(), file, time.Now)
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		b.Fatal(err)
	}
	db := openSQLite(b, file, "?_pragma=synchronous(0)")
	row := "(" + strings.Repeat("?,", len(e.columns)-1) + "?)"
	insert := fmt.Sprintf("INSERT INTO entry (%s) VALUES %s", strings.Join(e.columns, ","), row+strings.Repeat(","+row, bulkRows-1))
	many, err := db.PrepareContext(b.Context(), insert)
	if err != nil {
		b.Fatal(err)
	}
	defer many.Close()
	began := time.Now()
	tx, err := db.BeginTx(b.Context(), nil)
	if err != nil {
		b.Fatal(err)
	}
	defer tx.Rollback() // nothing after the commit
	for rows := range slices.Chunk(e.values, bulkRows*len(e.columns)) {
		if _, err := tx.StmtContext(b.Context(), many).ExecContext(b.Context(), rows...); err != nil {
			b.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	return sample{count: float64(len(e.values) / len(e.columns)), took: time.Since(began)}, file
}

// openSQLite opens a file on one connection, which ends with the benchmark.
func openSQLite(b *testing.B, file, settings string) *sql.DB {
	b.Helper()
	db, err := sql.Open("sqlite", "file:"+file+settings)
	if err != nil {
		b.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { _ = db.Close() })
	return db
}

// bytesUsed is how much of a database file holds something.
func bytesUsed(b *testing.B, file string) float64 {
	b.Helper()
	var bytes float64
	if err := openSQLite(b, file, "").QueryRowContext(b.Context(),
		`SELECT (page_count - freelist_count) * page_size FROM pragma_page_count, pragma_freelist_count, pragma_page_size`).Scan(&bytes); err != nil {
		b.Fatal(err)
	}
	return bytes
}
