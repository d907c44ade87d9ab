package sqlite

import (
	"slices"
	"time"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store/internal/rows"
)

// columnBytes reads a text or bytes into a buffer, which grows to hold them.
func columnBytes(st *driver.Stmt, col int, buf []byte) []byte {
	n := st.ColumnLen(col)
	buf = slices.Grow(buf[:0], n)[:n]
	return buf[:st.ColumnBytes(col, buf)]
}

// columnSmall reads a number of a small type, that of a constant of the engine.
func columnSmall[T ~uint8](st *driver.Stmt, col int) (T, error) {
	n := st.ColumnInt64(col)
	if n < 0 || n > 255 {
		return 0, rows.ErrRange
	}
	return T(n), nil
}

func columnDay(st *driver.Stmt, col int) engine.Day { return engine.Day(st.ColumnInt64(col)) }

func columnOptDay(st *driver.Stmt, col int) engine.OptDay {
	if st.ColumnIsNull(col) {
		return engine.OptDay{}
	}
	return engine.SomeDay(columnDay(st, col))
}

// columnInstant reads a time that may be NULL: zero.
func columnInstant(st *driver.Stmt, col int) time.Time {
	if st.ColumnIsNull(col) {
		return time.Time{}
	}
	return instant(st.ColumnInt64(col))
}

// What is unknown is NULL.

func nullableText(text string) any {
	if text == "" {
		return nil
	}
	return text
}

func nullableInstant(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Unix()
}

func nullableDay(d engine.OptDay) any {
	if !d.OK {
		return nil
	}
	return int64(d.Day)
}

func nullableBytes(b []byte) any {
	if b == nil {
		return nil
	}
	return b
}
