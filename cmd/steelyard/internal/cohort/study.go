package cohort

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync"
)

// MaxPeople bounds a cohort.
const MaxPeople = 1_000_000

// Options say what to study.
type Options struct {
	People int // of each cohort, 1..MaxPeople
	Seed   uint64
	Kinds  []Kind
}

// lived is what one person's three lives in a world came to.
type lived struct {
	open            []guessed
	posterior, hand course
}

// outcome is one person's, by world.
type outcome struct {
	lives [2]lived
	err   error
}

// Study lives every person three times in each world, with the same luck: under
// a fixed schedule, under the engine and under the hand method. It works on all
// processors; the result depends on the options alone. told, which may be nil,
// is called with the number of people done, from one goroutine.
func Study(ctx context.Context, o Options, told func(done int)) (Report, error) {
	if o.People < 1 || o.People > MaxPeople {
		return Report{}, fmt.Errorf("people: must be between 1 and %d", MaxPeople)
	}
	report := Report{Seed: o.Seed, People: o.People, Days: lifeDays}
	for i, k := range o.Kinds {
		people, err := liveAll(ctx, k, o, func(done int) {
			if told != nil {
				told(i*o.People + done)
			}
		})
		if err != nil {
			return Report{}, fmt.Errorf("%s cohort: %w", k, err)
		}
		for _, w := range Worlds() {
			report.Cohorts = append(report.Cohorts, summarise(k, w, people))
		}
	}
	return report, nil
}

func liveAll(ctx context.Context, k Kind, o Options, told func(done int)) ([]outcome, error) {
	people := make([]outcome, o.People)
	work := make(chan int)
	finished := make(chan struct{}, 64)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := range work {
				people[i] = live(k, i, o.Seed)
				finished <- struct{}{}
			}
		})
	}
	go func() {
		defer close(finished)
		defer workers.Wait()
		defer close(work)
		for i := range people {
			select {
			case work <- i:
			case <-ctx.Done():
				return
			}
		}
	}()
	done := 0
	for range finished {
		done++
		told(done)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i := range people {
		if people[i].err != nil {
			return nil, people[i].err
		}
	}
	return people, nil
}

// live is one person's lives. What is drawn depends on the seed, the cohort and
// the number alone.
func live(k Kind, number int, seed uint64) outcome {
	r := rand.New(rand.NewPCG(seed, uint64(k)<<32|uint64(number))) // #nosec G404 -- people made up, the same each time
	drawn, err := drawPerson(k, number, r)
	if err != nil {
		return outcome{err: err}
	}
	fate, schedule := drawFate(&drawn, r), drawSchedule(&drawn, r)
	var out outcome
	for _, w := range Worlds() {
		p := drawn.in(w)
		l := &out.lives[w]
		var errs [3]error
		l.open, errs[0] = observe(p, fate, schedule)
		l.posterior, errs[1] = follow(p, fate, posterior{})
		l.hand, errs[2] = follow(p, fate, hand{})
		if err := errors.Join(errs[:]...); err != nil {
			return outcome{err: err}
		}
	}
	return out
}
