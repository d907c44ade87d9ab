package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/backfill"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

// uploader brings a whole log to a server, several trainees at once.
type uploader struct {
	conn           grpc.ClientConnInterface
	settings       clientSettings
	createTrainees bool
	report         io.Writer // one line a refused row; nil: status
	status         io.Writer // the progress bar when it is a terminal, and breaks

	// acknowledged is told how many more entries are behind each acknowledgement, by
	// several goroutines; for tests, may be nil.
	acknowledged func(entries int)
}

// summary is what became of a log.
type summary struct {
	rows, sent, alreadyThere, trainees int
	lines                              map[int]bool // refused
	untold                             int          // refused by the server in batches whose answer was lost
	breaks                             int
	took                               time.Duration
}

func (s summary) refused() int { return len(s.lines) + s.untold }

// String is the last line of a backfill.
func (s summary) String() string {
	line := fmt.Sprintf("%s read, %s sent, %s refused, %s, %.1f seconds", count(s.rows, "row"), count(s.sent, "entry"),
		count(s.refused(), "row"), count(s.trainees, "trainee"), s.took.Seconds())
	if s.alreadyThere > 0 {
		line += fmt.Sprintf("; there already from an earlier run: %s", count(s.alreadyThere, "entry"))
	}
	if s.untold > 0 {
		line += fmt.Sprintf("; refused by the server in an earlier run or while the connection broke: %s", count(s.untold, "entry"))
	}
	return line
}

// count says a number of things in English.
func count(n int, thing string) string {
	switch {
	case n == 1:
	case strings.HasSuffix(thing, "y"):
		thing = strings.TrimSuffix(thing, "y") + "ies"
	default:
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// outcome is what became of one trainee's share of a log.
type outcome struct {
	backfill.Result
	problems []logcsv.Problem // of the rows that the server refused
	whole    bool             // all of it is there
}

func (s *summary) add(o outcome) {
	s.sent += o.Sent
	s.alreadyThere += o.AlreadyThere
	s.breaks += o.Breaks
	for _, p := range o.problems {
		s.lines[p.Line] = true
	}
	if o.whole {
		s.trainees++
		s.untold += o.Untold()
	}
}

// run sends a log. The summary holds also after an error, which is the first that
// an upload met: it ends the others.
func (u *uploader) run(ctx context.Context, log *logcsv.Log) (sum summary, err error) {
	began := time.Now()
	defer func() { sum.took = time.Since(began) }()
	sum = summary{rows: log.Rows, lines: map[int]bool{}}
	bar := u.newBar(log)
	defer bar.finish()
	tell := bar.say
	if u.report != nil {
		tell = func(line string) error {
			_, err := fmt.Fprintln(u.report, line)
			return err
		}
	}
	for _, p := range log.Refused {
		sum.lines[p.Line] = true
		if err := tell(p.String()); err != nil {
			return sum, err
		}
	}
	rows := telling{line: tell, held: map[int][]logcsv.Problem{}}
	outcomes := make([]outcome, len(log.Parts))
	uploads, all := errgroup.WithContext(ctx)
	uploads.SetLimit(u.settings.Streams)
	for i, part := range log.Parts {
		uploads.Go(func() error {
			o, err := u.send(all, log, part, bar)
			outcomes[i] = o
			if err != nil {
				err = plainError(ctx, part.Trainee, err)
			}
			return errors.Join(err, rows.end(i, o.problems))
		})
	}
	err = uploads.Wait()
	for _, o := range outcomes {
		sum.add(o)
	}
	return sum, err
}

// send brings one trainee's share. The outcome holds also after an error.
func (u *uploader) send(ctx context.Context, log *logcsv.Log, part logcsv.Part, bar *bar) (o outcome, err error) {
	if err := ctx.Err(); err != nil { // nobody is begun, nor created, after the end
		return o, err
	}
	behind := 0
	c := backfill.Client{
		Log:          steelyardv1.NewLogbookServiceClient(u.conn),
		Attempts:     u.settings.Attempts,
		BatchTimeout: u.settings.BatchTimeout,
		Acknowledged: func(n int) {
			bar.add(n - behind)
			if u.acknowledged != nil {
				u.acknowledged(n - behind)
			}
			behind = n
		},
		Broke: func(err error, wait time.Duration) {
			_ = bar.say(fmt.Sprintf("steelyard: trainee %s: %s; trying again in %.1f seconds", part.Trainee, statusText(err), wait.Seconds()))
		},
	}
	if u.createTrainees {
		err := c.Retry(ctx, func() (bool, error) { return false, u.create(ctx, part.Trainee) })
		if err != nil {
			return o, err
		}
	}
	o.Result, err = c.Send(ctx, backfill.Upload{Trainee: part.Trainee, SHA256: log.SHA256, Entries: part.Entries()})
	for _, x := range o.Refused {
		o.problems = append(o.problems, log.Explain(part.Items[x.Index], x.Field, x.Problem))
	}
	o.whole = err == nil
	return o, err
}

func (u *uploader) create(ctx context.Context, trainee string) error {
	ctx, cancel := context.WithTimeout(ctx, u.settings.BatchTimeout)
	defer cancel()
	_, err := steelyardv1.NewTraineeServiceClient(u.conn).CreateTrainee(ctx,
		&steelyardv1.CreateTraineeRequest{TraineeId: trainee, Trainee: &steelyardv1.Trainee{}})
	if status.Code(err) == codes.AlreadyExists {
		return nil
	}
	return err
}

// plainError says in a user's words why an upload ended.
func plainError(ctx context.Context, trainee string, err error) error {
	switch {
	case ctx.Err() != nil:
		return errors.New("interrupted; the same command again continues from here")
	case status.Code(err) == codes.NotFound:
		return fmt.Errorf("the server has no trainee %s; --create-trainees makes the missing ones", trainee)
	}
	return fmt.Errorf("trainee %s: %s", trainee, statusText(err))
}

// statusText is an error without gRPC's own dressing.
func statusText(err error) string {
	var bare interface {
		error
		GRPCStatus() *status.Status
	}
	if errors.As(err, &bare) {
		return strings.Replace(err.Error(), bare.Error(), bare.GRPCStatus().Message(), 1)
	}
	return err.Error()
}

// bar is a progress bar on a terminal, and nothing elsewhere. Several goroutines
// may use it.
type bar struct {
	progress *mpb.Progress
	bar      *mpb.Bar

	mu     sync.Mutex // lines are written whole
	status io.Writer
}

func (u *uploader) newBar(log *logcsv.Log) *bar {
	b := &bar{status: u.status}
	f, ok := u.status.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) {
		return b
	}
	total := 0
	for _, p := range log.Parts {
		total += len(p.Items)
	}
	b.progress = mpb.New(mpb.WithOutput(f), mpb.WithWidth(60))
	// A bar that is given its total later does not end by itself. Lines that came
	// after its end would be shown no more, and refused rows do.
	b.bar = b.progress.AddBar(0,
		mpb.PrependDecorators(decor.CountersNoUnit("%d of %d entries")),
		mpb.AppendDecorators(decor.Percentage(), decor.AverageETA(decor.ET_STYLE_GO, decor.WCSyncSpace)))
	b.bar.SetTotal(int64(total), false)
	return b
}

func (b *bar) add(n int) {
	if b.bar != nil {
		b.bar.IncrBy(n)
	}
}

// say writes a line, above the bar where there is one.
func (b *bar) say(line string) error {
	if b.progress != nil {
		_, err := b.progress.Write([]byte(line + "\n"))
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	_, err := fmt.Fprintln(b.status, line)
	return err
}

func (b *bar) finish() {
	if b.progress != nil {
		b.bar.Abort(false)
		b.progress.Wait()
	}
}
