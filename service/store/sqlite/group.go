package sqlite

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

// A commit waits for the disk, and most of a small write is that wait. So writes
// that have queued up while one commits share the next transaction. One that fails
// leaves no trace, and none is acknowledged before the commit they share.

const (
	savepoint    = `SAVEPOINT job`
	rollbackToIt = `ROLLBACK TO job`
	releaseIt    = `RELEASE job`
)

// mostShared bounds how many writes share a transaction.
const mostShared = 256

// job is a write that waits for its turn or has had it.
type job struct {
	ctx context.Context
	f   func(conn) error

	turn     chan struct{} // told once: it is done, or it is to lead
	isToLead bool          // guarded by the queue
	isDone   bool
	err      error
	panicked any
}

// queue is the writes that wait. One of them leads: it runs the first so many of
// them, its own among them, and hands on to the next.
type queue struct {
	mu      sync.Mutex
	waiting []*job
	isBusy  bool
	last    int // how many shared the last transaction
}

// join puts a job last, and reports whether it is to lead.
func (q *queue) join(j *job) (leads bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.waiting = append(q.waiting, j)
	leads, q.isBusy = !q.isBusy, true
	return leads
}

// leave takes a job out that gives up, and reports whether it was still waiting.
func (q *queue) leave(j *job) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	i := slices.Index(q.waiting, j)
	if i < 0 {
		return false
	}
	q.waiting = slices.Delete(q.waiting, i, i+1)
	if j.isToLead {
		q.handOn()
	}
	return true
}

// gather lets those come who are on their way, where the last transaction had
// several: they were all told of its end at once, and the first one back would else
// have the disk to itself while the others wait.
func (q *queue) gather() {
	for before := 0; ; {
		q.mu.Lock()
		waiting, last := len(q.waiting), q.last
		q.mu.Unlock()
		if waiting >= last || waiting == before {
			return
		}
		before = waiting
		runtime.Gosched()
	}
}

// take returns the jobs of the next transaction.
func (q *queue) take() []*job {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := min(len(q.waiting), mostShared)
	q.last = n
	group := slices.Clone(q.waiting[:n])
	q.waiting = slices.Delete(q.waiting, 0, n)
	return group
}

// next ends a lead.
func (q *queue) next() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.handOn()
}

func (q *queue) handOn() {
	if q.isBusy = len(q.waiting) > 0; q.isBusy {
		first := q.waiting[0]
		first.isToLead = true
		first.turn <- struct{}{}
	}
}

// write runs f in a write transaction that is on the disk when write returns
// without an error. The wait for its turn ends with the context. f must not
// write through the store again: it would wait for itself. Other writes may be in
// the transaction too; f may run twice.
func (s *Store) write(ctx context.Context, f func(conn) error) error {
	if ctx.Err() != nil {
		return fail(ctx, "begin write", ctx.Err())
	}
	j := &job{ctx: ctx, f: f, turn: make(chan struct{}, 1)}
	if !s.queue.join(j) {
		select {
		case <-j.turn:
		case <-ctx.Done():
			if s.queue.leave(j) {
				return fail(ctx, "begin write", ctx.Err())
			}
			<-j.turn // its turn has come already
		}
	}
	if !j.isDone {
		s.lead(j)
	}
	if j.panicked != nil {
		panic(j.panicked)
	}
	return j.err
}

// lead runs the next group, the leader's own job among them, and hands on.
func (s *Store) lead(leader *job) {
	s.queue.gather()
	group := s.queue.take()
	defer s.queue.next()
	defer func() { // also when the leader's own callback panics
		for _, j := range group {
			if !j.isDone {
				j.isDone, j.err = true, fmt.Errorf("write: %w: given up", store.ErrUnavailable)
			}
			if j != leader {
				j.turn <- struct{}{}
			}
		}
	}()
	if len(group) == 1 {
		leader.isDone, leader.err = true, s.alone(leader)
		return
	}
	if err := s.together(group); err != nil {
		for _, j := range group { // one of them broke it for all: each for itself
			if j.panicked == nil {
				j.err = s.alone(j)
			}
		}
	}
	for _, j := range group {
		j.isDone = true
	}
}

// alone runs one job in a transaction of its own.
func (s *Store) alone(j *job) error {
	h, err := s.begin(j.ctx)
	if err != nil {
		return fail(j.ctx, "begin write", err)
	}
	defer s.end(h) // also when f panics
	if err := j.f(conn{j.ctx, h}); err != nil {
		return err
	}
	if err := j.ctx.Err(); err != nil {
		return fail(j.ctx, "commit", err)
	}
	if err := h.control(commit); err != nil {
		return fail(j.ctx, "commit", err)
	}
	s.settle(h)
	return nil
}

// begin takes the writer and begins a write transaction, which end ends.
func (s *Store) begin(ctx context.Context) (*handle, error) {
	h, err := s.writer.take(ctx)
	if err != nil {
		return nil, err
	}
	if err := h.begin(ctx, s.patience); err != nil {
		s.writer.put(h)
		return nil, err
	}
	return h, nil
}

// end gives back the writer, without what has not been committed.
func (s *Store) end(h *handle) {
	if !h.AutocommitEnabled() {
		_ = h.control(rollback) // what fails has ended the transaction too
	}
	s.writer.put(h)
}

// longestWait is the longest pause between two looks whether another program has
// let go of the file.
const longestWait = 50 * time.Millisecond

// begin begins a write transaction, which has the lock from its start: one that reads
// first and then writes fails at once when another program was quicker. The wait
// for other programs is here and not in SQLite, so that it ends with the context.
func (h *handle) begin(ctx context.Context, patience time.Duration) error {
	wait := time.Millisecond
	for until := time.Now().Add(patience); ; wait = min(2*wait, longestWait) {
		err := h.control(beginWrite)
		if err == nil || codeOf(err).ToPrimary() != driver.ResultBusy || time.Now().After(until) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(wait):
		}
	}
}

// together runs jobs in one transaction and sets what each came to. Its error
// means that none of them is stored for a reason that is no job's own.
//
// As a rule none fails after it has written something. So they run without
// savepoints, which cost more than a small write's own statements; only if one
// has to be undone all of them run again, each in a savepoint.
func (s *Store) together(group []*job) error {
	ctx := context.Background() // nobody's: one that gives up must not end the others'
	h, err := s.begin(ctx)
	if err != nil {
		return err
	}
	defer s.end(h)
	kept, err := h.runPlainly(group)
	if errors.Is(err, errToUndo) {
		if err = h.control(rollback); err == nil {
			err = h.begin(ctx, s.patience)
		}
		if err == nil {
			kept, err = h.runInSavepoints(group)
		}
	}
	if err != nil || len(kept) == 0 {
		return err
	}
	if err := h.control(commit); err != nil {
		for _, j := range kept {
			j.err = fail(j.ctx, "commit", err)
		}
		return nil
	}
	s.settle(h)
	return nil
}

var (
	errToUndo = errors.New("a write that failed is to be undone")
	errEnded  = errors.New("the transaction has ended")
)

// runPlainly runs jobs and returns those that are to be kept, or errToUndo.
func (h *handle) runPlainly(group []*job) (kept []*job, err error) {
	for _, j := range group {
		h.hasWritten = false
		j.run(conn{j.ctx, h})
		switch {
		case h.AutocommitEnabled(): // as SQLite ends it when a disk is full
			return nil, errEnded
		case j.hasSucceeded():
			kept = append(kept, j)
		case h.hasWritten:
			return nil, errToUndo
		}
	}
	return kept, nil
}

// runInSavepoints runs jobs, undoes those that fail and returns the others.
func (h *handle) runInSavepoints(group []*job) (kept []*job, err error) {
	for _, j := range group {
		if err := h.control(savepoint); err != nil {
			return nil, err
		}
		if j.run(conn{j.ctx, h}); j.hasSucceeded() {
			kept = append(kept, j)
		} else if err := h.control(rollbackToIt); err != nil {
			return nil, err
		}
		if err := h.control(releaseIt); err != nil {
			return nil, err
		}
	}
	return kept, nil
}

func (j *job) hasSucceeded() bool { return j.err == nil && j.panicked == nil }

// run runs the callback. What it wrote does not count when its context has ended
// meanwhile.
func (j *job) run(c conn) {
	defer func() { j.panicked = recover() }()
	j.err = j.f(c)
	if j.err == nil && j.ctx.Err() != nil {
		j.err = fail(j.ctx, "commit", j.ctx.Err())
	}
}
