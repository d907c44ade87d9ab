// Package logcsv reads a training and nutrition log from CSV: one row a day, a
// meal or a set, any subset of the columns that ColumnHelp lists, a header row
// first. The text is UTF-8 with LF or CRLF; a byte order mark is ignored. An
// empty cell means "not logged", never 0.
//
// One row may hold facts of several kinds; it then makes several entries. A row
// with anything wrong in it makes none: it is refused as a whole, with its line.
package logcsv

import (
	"fmt"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// MaxBytes is the longest file that Read takes: about a million rows.
const MaxBytes = 64 << 20

// Log is what a file holds.
type Log struct {
	SHA256  string // of all bytes, in hex
	Rows    int    // data rows, refused ones included
	Parts   []Part // one a trainee, in order of first appearance; each holds an entry at least
	Refused []Problem

	header []string
}

// Part is one trainee's share of a file.
type Part struct {
	Trainee string
	Items   []Item // in file order
}

// Item is one entry and where it came from.
type Item struct {
	Entry *steelyardv1.Entry
	Line  int

	cells []string
}

// Entries returns the entries of a part, in file order.
func (p Part) Entries() []*steelyardv1.Entry {
	out := make([]*steelyardv1.Entry, len(p.Items))
	for i, it := range p.Items {
		out[i] = it.Entry
	}
	return out
}

// Problem is why a row is refused.
type Problem struct {
	Line   int    // counted from 1, the header included
	Column string // empty when it concerns the whole row
	Text   string
}

// String returns "line 12: weight_kg: must be from 20 to 400 kg (got 815)".
func (p Problem) String() string {
	if p.Column == "" {
		return fmt.Sprintf("line %d: %s", p.Line, p.Text)
	}
	return fmt.Sprintf("line %d: %s: %s", p.Line, p.Column, p.Text)
}

// Explain turns a problem with a field of an entry, as the service names it,
// into one with the row and column that the entry came from.
func (l *Log) Explain(it Item, field, problem string) Problem {
	p := Problem{Line: it.Line, Column: columnOf(it.Entry, field), Text: problem}
	for i, name := range l.header {
		if name == p.Column && it.cells[i] != "" {
			p.Text += fmt.Sprintf(" (got %s)", shorten(it.cells[i]))
		}
	}
	return p
}

// shorten keeps a message one plain line, whatever the cell holds.
func shorten(cell string) string {
	const most = 40
	for i, r := range cell {
		if i >= most || r < ' ' {
			return cell[:i] + "..."
		}
	}
	return cell
}
