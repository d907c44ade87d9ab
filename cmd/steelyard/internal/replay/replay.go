// Package replay runs the estimator over exported logs as it would have stood on
// each morning: a back-test without a server. It reads the two tables that
// ReadProfiles and ReadLogs describe and writes the one that Write describes.
//
// The tables are CSV: UTF-8 text with LF or CRLF, a header row first, columns in
// any order, commas between the cells and a point for decimals; a byte order
// mark is ignored. An empty cell means "not known" or "not logged", never 0.
// Anything wrong in any row is an error that names the line and the column;
// nothing is written then.
package replay

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"sync"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// Trainee is one trainee's profile and log.
type Trainee struct {
	ID      string
	Profile Profile
	rows    []logRow // ascending by day, one a day; none without a log
}

// header is the first line that Write writes.
const header = "trainee,date,trend_weight_kg,rate_pct_per_week,rate_sd,maintenance_kcal,maintenance_sd,p_below_band,p_above_band,readings_used,readings_refused\n"

// Write writes one row for each trainee, in their order, and every so many-th
// day from the first to the last, 1 for all: what the estimator says on that
// morning, from its reading and all before it. That day's intake is not known
// yet. The rate, in % of body weight a week, positive for a loss, is that of the
// prescription in force that day (a refeed is none), or of the usual intake
// before there is one; the band is 0.5 to 1 % a week; refused readings are
// counted with those used. Cells are empty where there is no estimate yet.
//
// It works on all processors. told, which may be nil, is called with the number
// of trainees done, in order, from one goroutine.
func Write(ctx context.Context, out io.Writer, trainees []Trainee, every int, told func(done int)) (rows int, err error) {
	if every < 1 {
		return 0, fmt.Errorf("every %d days", every)
	}
	if _, err := io.WriteString(out, header); err != nil {
		return 0, err
	}
	ctx, cancel := context.WithCancel(ctx)
	var workers sync.WaitGroup
	defer func() {
		cancel()
		workers.Wait()
	}()
	n := runtime.GOMAXPROCS(0)
	work := make(chan job)
	inOrder := make(chan job, 4*n) // bounds what is held in memory
	for range n {
		workers.Go(func() {
			var e estimator
			for j := range work {
				j.done <- e.rows(j.trainee, every)
			}
		})
	}
	workers.Go(func() {
		defer close(inOrder)
		defer close(work)
		for i := range trainees {
			j := job{&trainees[i], make(chan table, 1)}
			select {
			case inOrder <- j:
			case <-ctx.Done():
				return
			}
			work <- j // a worker takes it: none of them ever waits
		}
	})
	done := 0
	for j := range inOrder {
		t := <-j.done
		if err := ctx.Err(); err != nil {
			return rows, err
		}
		if _, err := out.Write(t.text); err != nil {
			return rows, err
		}
		rows += t.rows
		done++
		if told != nil {
			told(done)
		}
	}
	return rows, ctx.Err()
}

type job struct {
	trainee *Trainee
	done    chan table // holds one, so that no worker waits
}

type table struct {
	text []byte
	rows int
}

// estimator is one worker with its memory.
type estimator struct {
	scratch balance.Scratch
	inputs  []balance.Input
}

// rows returns a trainee's lines.
func (e *estimator) rows(t *Trainee, every int) table {
	mornings := e.mornings(t)
	var out bytes.Buffer
	id := quoted(t.ID)
	n := 0
	for i := 0; i < len(mornings); i += every {
		writeRow(&out, id, mornings[i])
		n++
	}
	return table{out.Bytes(), n}
}

// mornings returns the estimate of each day. It holds until the next call.
func (e *estimator) mornings(t *Trainee) []balance.State {
	if len(t.rows) == 0 {
		return nil
	}
	e.inputs = t.inputs(e.inputs[:0])
	first := t.rows[0].day
	return e.scratch.Mornings(first, e.inputs, func(kg float64, row int) (balance.Guess, bool) {
		return t.Profile.guess(kg, first, first+engine.Day(row))
	})
}

// inputs appends the days from the first to the last as the estimator reads
// them, days without a row too; each target holds until its next value.
func (t *Trainee) inputs(in []balance.Input) []balance.Input {
	var target engine.Opt
	activity := 0.0
	for _, r := range t.rows {
		for int(r.day-t.rows[0].day) > len(in) {
			in = append(in, balance.Input{TargetKcal: target, ActivityKcal: activity})
		}
		if r.target.isKnown() {
			target = r.target.opt()
		}
		if r.activity.isKnown() {
			activity = float64(r.activity)
		}
		in = append(in, balance.Input{
			WeightKg: r.weight.opt(), IntakeKcal: r.intake.opt(),
			TargetKcal: target, ActivityKcal: activity,
			IsRefeed: r.refeed.isKnown(), RefeedKcal: r.refeed.opt(),
			IsSalty: r.isSalty, IsPeriodStart: r.isPeriodStart,
		})
	}
	return in
}
