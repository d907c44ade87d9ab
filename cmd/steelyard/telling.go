package main

import (
	"sync"

	"example.com/steelyard/cmd/steelyard/internal/logcsv"
)

// telling tells refused rows in the order of the file's trainees, whichever
// upload ends first. Several goroutines may use it.
type telling struct {
	line func(string) error

	mu   sync.Mutex
	held map[int][]logcsv.Problem // of trainees that have ended; one before them has not
	next int
}

// end takes the refused rows of the nth trainee, whose upload has ended, and tells
// all that are no longer held up. It must be called once for each.
func (t *telling) end(nth int, refused []logcsv.Problem) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.held[nth] = refused
	for {
		refused, ok := t.held[t.next]
		if !ok {
			return nil
		}
		delete(t.held, t.next)
		t.next++
		for _, p := range refused {
			if err := t.line(p.String()); err != nil {
				return err
			}
		}
	}
}
