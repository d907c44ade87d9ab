// Package fault holds the errors that a caller may see, and the one place
// where errors become gRPC statuses. An error that is not known here becomes
// INTERNAL with a fixed sentence; its own text goes to the log only.
package fault

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Field is a request field and what is wrong with it. The path is the
// contract's, for example entry.weigh_in.weight.unit.
type Field struct {
	Path    string
	Problem string
}

// Invalid is a request that is refused for its fields.
type Invalid struct{ Fields []Field }

// Error implements error.
func (e *Invalid) Error() string {
	parts := make([]string, len(e.Fields))
	for i, f := range e.Fields {
		parts[i] = f.Path + ": " + f.Problem
	}
	return strings.Join(parts, "; ")
}

// InvalidField returns an Invalid with one field.
func InvalidField(path, format string, args ...any) error {
	return &Invalid{Fields: []Field{{Path: path, Problem: fmt.Sprintf(format, args...)}}}
}

// Under returns the fields of err with a path put before each; any other error
// comes back as it is.
func Under(prefix string, err error) error {
	var inv *Invalid
	if !errors.As(err, &inv) {
		return err
	}
	out := &Invalid{Fields: make([]Field, len(inv.Fields))}
	for i, f := range inv.Fields {
		path := f.Path
		switch {
		case path == "":
			path = prefix
		case prefix != "":
			path = prefix + "." + path
		}
		out.Fields[i] = Field{Path: path, Problem: f.Problem}
	}
	return out
}

// Refused is a request that is well formed and cannot be carried out in the
// present state.
type Refused struct {
	Reason   string // UPPER_SNAKE, stable
	Sentence string // for people
}

// Error implements error.
func (e *Refused) Error() string { return e.Sentence }

// Conflict is a request that came out of step with the present state; the
// caller reads the state again and tries anew.
type Conflict struct {
	Reason   string // UPPER_SNAKE, stable
	Sentence string // for people
}

// Error implements error.
func (e *Conflict) Error() string { return e.Sentence }

// Exhausted is a call that was refused, unread, because there is too much to do
// or the caller asks too often; the same call may be made again later.
type Exhausted struct {
	Reason   string // ReasonOverloaded or ReasonRateLimited
	Sentence string // for people
	After    time.Duration
}

// Error implements error.
func (e *Exhausted) Error() string { return e.Sentence }

// Panicked is a bug that was caught.
type Panicked struct {
	Value any
	Stack []byte
}

// Error implements error.
func (e *Panicked) Error() string { return fmt.Sprintf("panic: %v\n%s", e.Value, e.Stack) }
