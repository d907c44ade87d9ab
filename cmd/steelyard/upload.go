package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/backfill"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

// uploader brings a whole log, trainee after trainee, to a server.
type uploader struct {
	conn           grpc.ClientConnInterface
	settings       clientSettings
	createTrainees bool
	refused        io.Writer // one line a problem
	status         io.Writer // the progress bar when it is a terminal, and breaks

	acknowledged func(entries int) // for tests; may be nil
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

// run sends a log. The summary holds also after an error.
func (u *uploader) run(ctx context.Context, log *logcsv.Log) (sum summary, err error) {
	began := time.Now()
	defer func() { sum.took = time.Since(began) }()
	sum = summary{rows: log.Rows, lines: map[int]bool{}}
	for _, p := range log.Refused {
		sum.lines[p.Line] = true
		if _, err := fmt.Fprintln(u.refused, p); err != nil {
			return sum, err
		}
	}
	bar := u.newBar(log)
	defer bar.finish()
	for _, part := range log.Parts {
		if err := u.send(ctx, log, part, bar, &sum); err != nil {
			return sum, plainError(ctx, part.Trainee, err)
		}
		sum.trainees++
	}
	return sum, nil
}

func (u *uploader) send(ctx context.Context, log *logcsv.Log, part logcsv.Part, bar *bar, sum *summary) error {
	before := sum.sent + sum.alreadyThere
	c := backfill.Client{
		Log:          steelyardv1.NewLogbookServiceClient(u.conn),
		Attempts:     u.settings.Attempts,
		BatchTimeout: u.settings.BatchTimeout,
		Acknowledged: func(n int) {
			bar.set(before + n)
			if u.acknowledged != nil {
				u.acknowledged(before + n)
			}
		},
		Broke: func(err error, wait time.Duration) {
			bar.say(fmt.Sprintf("steelyard: %s; trying again in %.1f seconds", statusText(err), wait.Seconds()))
		},
	}
	if u.createTrainees {
		err := c.Retry(ctx, func() (bool, error) { return false, u.create(ctx, part.Trainee) })
		if err != nil {
			return err
		}
	}
	r, err := c.Send(ctx, backfill.Upload{Trainee: part.Trainee, SHA256: log.SHA256, Entries: part.Entries()})
	sum.sent += r.Sent
	sum.alreadyThere += r.AlreadyThere
	sum.breaks += r.Breaks
	for _, x := range r.Refused {
		p := log.Explain(part.Items[x.Index], x.Field, x.Problem)
		sum.lines[p.Line] = true
		if _, err := fmt.Fprintln(u.refused, p); err != nil {
			return err
		}
	}
	if err == nil {
		sum.untold += r.Untold()
	}
	return err
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

// bar is a progress bar on a terminal, and nothing elsewhere.
type bar struct {
	progress *mpb.Progress
	bar      *mpb.Bar
	status   io.Writer
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
	b.bar = b.progress.AddBar(int64(total),
		mpb.PrependDecorators(decor.CountersNoUnit("%d of %d entries")),
		mpb.AppendDecorators(decor.Percentage(), decor.AverageETA(decor.ET_STYLE_GO, decor.WCSyncSpace)))
	return b
}

func (b *bar) set(n int) {
	if b.bar != nil {
		b.bar.SetCurrent(int64(n))
	}
}

// say writes a line above the bar.
func (b *bar) say(line string) {
	if b.progress == nil {
		fmt.Fprintln(b.status, line)
		return
	}
	_, _ = b.progress.Write([]byte(line + "\n"))
}

func (b *bar) finish() {
	if b.progress != nil {
		b.bar.Abort(false) // no effect on a bar that is complete
		b.progress.Wait()
	}
}
