package store

import "errors"

// Sentinels. A backend translates its driver's errors into these, wrapped with
// the action that failed; nothing above a backend knows a driver's error.
var (
	// ErrNotFound: no such thing in this scope.
	ErrNotFound = errors.New("not found")
	// ErrExists: the id is taken.
	ErrExists = errors.New("already exists")
	// ErrReused: a request id was used before with another body.
	ErrReused = errors.New("request id reused with another body")
	// ErrUnavailable: the backend cannot serve now; a retry may succeed.
	ErrUnavailable = errors.New("store unavailable")
)
