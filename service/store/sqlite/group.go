package sqlite

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"example.com/steelyard/service/store"
)

// A commit waits for the disk, and most of a small write is that wait. So writes
// that have queued up while one commits share the next transaction: each in a
// savepoint of its own, so that one that fails leaves no trace, and none is
// acknowledged before the commit they share.

const (
	savepoint    = `SAVEPOINT job`
	rollbackToIt = `ROLLBACK TO job`
	releaseIt    = `RELEASE job`
)

// mostShared bounds how many writes share a transaction.
const mostShared = 64

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

// take returns the jobs of the next transaction.
func (q *queue) take() []*job {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := min(len(q.waiting), mostShared)
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
	tx, err := s.writer.BeginTx(j.ctx, nil)
	if err != nil {
		return fail(j.ctx, "begin write", err)
	}
	defer tx.Rollback() // also when f panics; nothing after the commit
	if err := j.f(conn{ctx: j.ctx, tx: tx, stmts: s.writes}); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fail(j.ctx, "commit", err)
	}
	s.settle(j.ctx)
	return nil
}

// together runs jobs in one transaction and sets what each came to. Its error
// means that none of them is stored for a reason that is no job's own.
func (s *Store) together(group []*job) error {
	ctx := context.Background() // nobody's: one that gives up must not end the others'
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	all := conn{ctx: ctx, tx: tx, stmts: s.writes}
	var kept []*job
	for _, j := range group {
		if _, err := all.exec(savepoint); err != nil {
			return err
		}
		if j.run(conn{ctx: j.ctx, tx: tx, stmts: s.writes}); j.err == nil && j.panicked == nil {
			kept = append(kept, j)
		} else if _, err := all.exec(rollbackToIt); err != nil {
			return err
		}
		if _, err := all.exec(releaseIt); err != nil {
			return err
		}
	}
	if len(kept) == 0 {
		return nil
	}
	if err := tx.Commit(); err != nil {
		for _, j := range kept {
			j.err = fail(j.ctx, "commit", err)
		}
		return nil
	}
	s.settle(ctx)
	return nil
}

// run runs the callback. What it wrote does not count when its context has ended
// meanwhile.
func (j *job) run(c conn) {
	defer func() { j.panicked = recover() }()
	j.err = j.f(c)
	if j.err == nil && j.ctx.Err() != nil {
		j.err = fail(j.ctx, "commit", j.ctx.Err())
	}
}

// settle does after a commit what an erasure could not.
func (s *Store) settle(ctx context.Context) {
	if s.residue.Load() {
		s.forget(ctx)
	}
}
