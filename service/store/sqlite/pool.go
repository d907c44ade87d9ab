package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

// handle is one connection with its prepared statements. One goroutine at a time
// has it.
type handle struct {
	*driver.Conn
	stmts map[string]statement

	hasWritten bool // a statement that writes was bound since this was set to false
}

// statement is a prepared one.
type statement struct {
	*driver.Stmt
	writes bool
}

// connect opens a connection with some settings, and refuses one that lacks a
// promised setting.
func connect(path string, settings []string, promises []promise) (_ *handle, err error) {
	c, err := driver.OpenConn(path, driver.OpenReadWrite)
	if err != nil {
		return nil, err
	}
	h := &handle{Conn: c, stmts: map[string]statement{}}
	defer func() {
		if err != nil {
			err = errors.Join(err, c.Close())
		}
	}()
	c.SetBusyTimeout(patience)
	for _, s := range settings {
		if _, err := h.pragma(s); err != nil {
			return nil, fmt.Errorf("set %s: %w", s, err)
		}
	}
	return h, h.verify(promises)
}

// pragma runs a pragma and returns the first column of its first row.
func (h *handle) pragma(text string) (string, error) {
	st, _, err := h.PrepareTransient("PRAGMA " + text)
	if err != nil {
		return "", err
	}
	defer st.Finalize() // Step has told its errors
	if found, err := st.Step(); err != nil || !found {
		return "", err
	}
	return st.ColumnText(0), nil
}

// verify refuses a connection that lacks a promised setting.
func (h *handle) verify(promises []promise) error {
	for _, p := range promises {
		got, err := h.pragma(p.pragma)
		if err != nil {
			return fmt.Errorf("read %s: %w", p.pragma, err)
		}
		if got != p.want {
			return fmt.Errorf("%s is %s, want %s: %s", p.pragma, got, p.want, p.why)
		}
	}
	return nil
}

// pool has up to so many handles, opened when they are first needed. The one that
// was used last is used next: it is warm.
type pool struct {
	open func() (*handle, error)
	used chan struct{} // one for each that somebody has

	mu       sync.Mutex
	free     []*handle
	isClosed bool
}

func newPool(size int, open func() (*handle, error)) *pool {
	return &pool{open: open, used: make(chan struct{}, size)}
}

// take waits for a handle until the context ends. Who took it puts it back.
func (p *pool) take(ctx context.Context) (*handle, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	select {
	case p.used <- struct{}{}:
	default: // a wait has its price even before it begins: the context makes a timer
		select {
		case p.used <- struct{}{}:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	h, err := p.next()
	if err == nil && h == nil {
		h, err = p.open()
	}
	if err != nil {
		<-p.used
	}
	return h, err
}

// next returns a free handle, or none when one is to be opened.
func (p *pool) next() (*handle, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.isClosed {
		return nil, fmt.Errorf("%w: closed", store.ErrUnavailable)
	}
	if len(p.free) == 0 {
		return nil, nil
	}
	h := p.free[len(p.free)-1]
	p.free = p.free[:len(p.free)-1]
	return h, nil
}

// put gives a handle back.
func (p *pool) put(h *handle) {
	if p.keep(h) {
		<-p.used
		return
	}
	_ = h.Close() // nobody is there to be told
}

// keep reports whether the pool is open, and then has the handle.
func (p *pool) keep(h *handle) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.isClosed {
		p.free = append(p.free, h)
	}
	return !p.isClosed
}

// close closes the handles; those that somebody has when they are put back.
func (p *pool) close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.isClosed = true
	var errs []error
	for _, h := range p.free {
		errs = append(errs, h.Close())
	}
	p.free = nil
	return errors.Join(errs...)
}
