package replay

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"example.com/steelyard/engine"
)

// reader reads a table row by row and collects what is wrong with it.
type reader struct {
	csv      *csv.Reader
	columns  map[string]int
	width    int
	cells    []string
	line     int
	problems []error
	more     int // problems that are not told
}

// mostProblems is how many are told before the rest is only counted.
const mostProblems = 20

func newReader(r io.Reader, columns []string, needed ...string) (*reader, error) {
	b := bufio.NewReaderSize(r, 1<<16)
	if mark, _ := b.Peek(3); string(mark) == "\ufeff" {
		_, _ = b.Discard(3)
	}
	t := &reader{csv: csv.NewReader(b), columns: map[string]int{}}
	t.csv.FieldsPerRecord = -1 // checked here, to name the line plainly
	t.csv.ReuseRecord = true
	head, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("line 1: the header row is missing")
	}
	if err != nil {
		return nil, plainCSVError(err)
	}
	t.width = len(head)
	for i, name := range head {
		name = strings.TrimSpace(name)
		if !slices.Contains(columns, name) {
			return nil, fmt.Errorf("line 1: unknown column %q; there are %s", shorten(name), strings.Join(columns, ", "))
		}
		if _, twice := t.columns[name]; twice {
			return nil, fmt.Errorf("line 1: column %s stands twice", name)
		}
		t.columns[name] = i
	}
	for _, name := range needed {
		if _, ok := t.columns[name]; !ok {
			return nil, fmt.Errorf("line 1: there is no column %s", name)
		}
	}
	return t, nil
}

// next goes on to the next row; false at the end, and where no row can be told
// from another any more.
func (t *reader) next() bool {
	for {
		cells, err := t.csv.Read()
		if errors.Is(err, io.EOF) {
			return false
		}
		if err != nil {
			t.report(plainCSVError(err))
			return false
		}
		t.cells = cells
		t.line, _ = t.csv.FieldPos(0)
		if len(cells) == t.width {
			return true
		}
		t.refuse("", "has %d cells, but the header has %d", len(cells), t.width)
	}
}

// err is all that is wrong with the table, a line each; nil when nothing is.
func (t *reader) err() error {
	if t.more > 0 {
		t.problems = append(t.problems, fmt.Errorf("and %d more", t.more))
	}
	return errors.Join(t.problems...)
}

func (t *reader) refuse(column, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if column != "" {
		text = column + ": " + text
	}
	t.report(fmt.Errorf("line %d: %s", t.line, text))
}

func (t *reader) report(problem error) {
	if len(t.problems) >= mostProblems {
		t.more++
		return
	}
	t.problems = append(t.problems, problem)
}

// cell returns a cell; empty when the table has no such column.
func (t *reader) cell(column string) string {
	if i, ok := t.columns[column]; ok {
		return strings.TrimSpace(t.cells[i])
	}
	return ""
}

// trainee reads the name of a trainee, any text of one line.
func (t *reader) trainee() string {
	const longest = 200
	id := t.cell("trainee")
	switch {
	case id == "":
		t.refuse("trainee", "is missing")
	case len(id) > longest || !utf8.ValidString(id) || strings.ContainsFunc(id, unicode.IsControl):
		t.refuse("trainee", "must be plain text of at most %d bytes", longest)
	}
	return id
}

// number reads a cell within bounds; unknown when it is empty or refused.
func (t *reader) number(column string, low, high float64, unit string) engine.Opt {
	cell := t.cell(column)
	if cell == "" {
		return engine.Opt{}
	}
	v, err := strconv.ParseFloat(cell, 64)
	// It also takes what nobody means: hex, "inf", "nan". An overflow gives
	// infinity, which no bound admits.
	if errors.Is(err, strconv.ErrSyntax) || strings.Trim(cell, "0123456789.-+eE") != "" {
		hint := ""
		if strings.Contains(cell, ",") {
			hint = " with a point for decimals"
		}
		t.refuse(column, "must be a number%s (got %s)", hint, shorten(cell))
		return engine.Opt{}
	}
	if v < low || v > high {
		t.refuse(column, "must be from %g to %g %s (got %s)", low, high, unit, shorten(cell))
		return engine.Opt{}
	}
	return engine.Some(v)
}

func (t *reader) day(column string) engine.Day {
	cell := t.cell(column)
	if cell == "" {
		t.refuse(column, "is missing")
		return 0
	}
	d, err := engine.ParseDay(cell)
	if err != nil {
		t.refuse(column, "must be a calendar day of the form 2025-01-31 (got %s)", shorten(cell))
	}
	return d
}

func plainCSVError(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("line %d: a quote is misplaced or not closed", p.StartLine)
	}
	return err
}

// shorten keeps a message one plain line, whatever the cell holds.
func shorten(cell string) string {
	const most = 40
	for i, r := range cell {
		if i >= most || !unicode.IsPrint(r) {
			return cell[:i] + "..."
		}
	}
	return cell
}
