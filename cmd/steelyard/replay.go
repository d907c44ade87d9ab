package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"

	"example.com/steelyard/cmd/steelyard/internal/replay"
)

func newReplay() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "replay --profiles FILE --logs FILE --out FILE",
		Short: "Estimates each morning of exported logs as it stood then",
		Long: `Runs the estimator over many trainees' logs as of each of their mornings, offline
and on all processors: what would have been known then.

The two inputs are CSV: UTF-8 with a header row, columns in any order, commas, and
a point for decimals. An empty cell means not known or not logged, never 0. Anything
wrong is told with its line and column, and then nothing is written.

profiles, a row a trainee:
  trainee                 any name
  sex                     female or male
  age                     years on the first day of the log
  height_cm
  maintenance_guess_kcal  a guess of true maintenance, as from an equation; the
                          estimator expects 94 % of it in the log. Empty: from the
                          equations, for a low-active life
logs, a row a trainee and day, in any order:
  trainee, date           date of the form 2025-01-31
  weight_kg               of the morning
  intake_kcal             of the whole day
  steps                   checked, not used
  target_kcal, activity_target_kcal
                          hold from that day until the next value
  refeed_kcal             the day is a refeed with this target, for that day only
  marks                   joined by ';': salty_meal, illness, travel, period_start;
                          the estimator uses the first and the last

The output has a row for each trainee, in the order of the profiles, and each day
from the first to the last of the log: the trend weight, the rate of loss in % of
body weight a week at the prescription in force that day (positive is a loss) with
its standard deviation, maintenance in logged kcal a day with its standard
deviation, the probability that the rate is under 0.5 and over 1, and the readings
used and refused. It rests on that morning's reading and everything before it; that
day's intake is not known yet. Cells are empty where there is no estimate yet.

` + caution,
		Example: "  steelyard replay --profiles profiles.csv --logs logs.csv --out estimates.csv",
		Args:    arguments(cobra.NoArgs),
	}
	var r replayer
	cmd.Flags().StringVar(&r.profiles, "profiles", "", "file of the trainees")
	cmd.Flags().StringVar(&r.logs, "logs", "", "file of their logs")
	cmd.Flags().StringVar(&r.out, "out", "", "file for the estimates; replaced when all of them are there")
	cmd.Flags().IntVar(&r.every, "every", 1, "write the first day and every so many-th after it")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		for _, f := range []struct{ name, value string }{{"profiles", r.profiles}, {"logs", r.logs}, {"out", r.out}} {
			if f.value == "" {
				return usageError{fmt.Errorf("--%s: name a file", f.name)}
			}
		}
		if r.every < 1 {
			return usageError{errors.New("--every: must be 1 or more")}
		}
		if isSameFile(r.out, r.profiles) || isSameFile(r.out, r.logs) {
			return usageError{errors.New("--out: would replace what is read")}
		}
		r.status = cmd.ErrOrStderr()
		summary, err := r.run(cmd.Context())
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(r.status, "steelyard: "+summary) // the estimates may go to the standard output
		return err
	}
	return cmd
}

func isSameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// replayer replays files.
type replayer struct {
	profiles, logs, out string
	every               int
	status              io.Writer // the progress bars when it is a terminal
}

func (r replayer) run(ctx context.Context) (summary string, err error) {
	began := time.Now()
	bars := newBars(r.status)
	defer bars.finish()
	trainees, rows, err := r.replay(ctx, bars)
	switch {
	case ctx.Err() != nil:
		return "", errors.New("interrupted; nothing was written")
	case err != nil:
		return "", err
	}
	return fmt.Sprintf("%s of %s written to %s, %.1f seconds", count(rows, "row"), count(trainees, "trainee"), r.out, time.Since(began).Seconds()), nil
}

func (r replayer) replay(ctx context.Context, bars *bars) (trainees, rows int, err error) {
	cohort, err := r.readProfiles()
	if err != nil {
		return 0, 0, err
	}
	if err := r.readLogs(ctx, cohort, bars); err != nil {
		return 0, 0, err
	}
	err = r.write(func(out io.Writer) error {
		rows, err = replay.Write(ctx, out, cohort, r.every, bars.count(int64(len(cohort)), "%d of %d trainees"))
		return err
	})
	return len(cohort), rows, err
}

func (r replayer) readProfiles() ([]replay.Trainee, error) {
	f, err := os.Open(r.profiles)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	trainees, err := replay.ReadProfiles(f)
	return trainees, inFile(r.profiles, err)
}

func (r replayer) readLogs(ctx context.Context, trainees []replay.Trainee, bars *bars) error {
	f, err := os.Open(r.logs)
	if err != nil {
		return err
	}
	defer f.Close()
	return inFile(r.logs, replay.ReadLogs(interruptible{ctx, bars.reader(f)}, trainees))
}

// interruptible is a reader that ends with its context.
type interruptible struct {
	ctx context.Context
	io.Reader
}

func (r interruptible) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.Reader.Read(p)
}

// inFile names the file in each line of an error.
func inFile(name string, err error) error {
	var several interface{ Unwrap() []error }
	if !errors.As(err, &several) {
		if err != nil {
			err = fmt.Errorf("%s: %w", name, err)
		}
		return err
	}
	var out []error
	for _, e := range several.Unwrap() {
		out = append(out, fmt.Errorf("%s: %w", name, e))
	}
	return errors.Join(out...)
}

// write fills the output file. A file takes its name only when it is complete:
// until then what was there before stays. What is no plain file, such as
// /dev/stdout, is written to as it is.
func (r replayer) write(fill func(io.Writer) error) (err error) {
	var f *os.File
	keep := func() error { return nil }
	if there, e := os.Lstat(r.out); e == nil && !there.Mode().IsRegular() {
		f, err = os.OpenFile(r.out, os.O_WRONLY, 0)
	} else if f, err = os.CreateTemp(filepath.Dir(r.out), ".estimates-*"); err == nil {
		keep = func() error { return os.Rename(f.Name(), r.out) }
		defer os.Remove(f.Name()) // nothing is there after the rename
	}
	if err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	buffered := bufio.NewWriterSize(f, 1<<16)
	err = fill(buffered)
	if err == nil {
		err = buffered.Flush()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return keep()
}

// bars are progress bars on a terminal, and nothing elsewhere.
type bars struct {
	progress *mpb.Progress
	shown    []*mpb.Bar
}

func newBars(status io.Writer) *bars {
	f, ok := status.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) {
		return &bars{}
	}
	return &bars{progress: mpb.New(mpb.WithOutput(f), mpb.WithWidth(60))}
}

func (b *bars) add(total int64, counters decor.Decorator) *mpb.Bar {
	bar := b.progress.AddBar(total, mpb.PrependDecorators(counters),
		mpb.AppendDecorators(decor.Percentage(), decor.AverageETA(decor.ET_STYLE_GO, decor.WCSyncSpace)))
	b.shown = append(b.shown, bar)
	return bar
}

// reader shows how far a file is read.
func (b *bars) reader(f *os.File) io.Reader {
	info, err := f.Stat()
	if b.progress == nil || err != nil || !info.Mode().IsRegular() {
		return f
	}
	r, err := b.add(info.Size(), decor.CountersKibiByte("% .1f of % .1f read")).ProxyReader(f)
	if err != nil {
		return f
	}
	return r
}

// count returns what to call with the number done.
func (b *bars) count(total int64, words string) func(int) {
	if b.progress == nil {
		return nil
	}
	bar := b.add(total, decor.CountersNoUnit(words))
	return func(done int) { bar.SetCurrent(int64(done)) }
}

func (b *bars) finish() {
	for _, bar := range b.shown {
		bar.Abort(false) // no effect on one that is complete
	}
	if b.progress != nil {
		b.progress.Wait()
	}
}
