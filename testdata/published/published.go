// Package published reads the published check values that lie beside it, for
// tests. Each file's header names its source.
package published

import (
	"embed"
	"encoding/csv"
	"strconv"
	"testing"
)

//go:embed *.csv
var files embed.FS

// Row is one line of a file.
type Row struct {
	tb    testing.TB
	cells map[string]string
}

// Read returns the rows of a file. It fails the test when the file is missing,
// malformed or empty.
func Read(tb testing.TB, file string) []Row {
	tb.Helper()
	f, err := files.Open(file)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		tb.Fatalf("%s: %v", file, err)
	}
	if len(lines) < 2 {
		tb.Fatalf("%s holds no values", file)
	}
	var rows []Row
	for _, line := range lines[1:] {
		cells := make(map[string]string)
		for i, name := range lines[0] {
			cells[name] = line[i]
		}
		rows = append(rows, Row{tb, cells})
	}
	return rows
}

// Text returns a cell.
func (r Row) Text(column string) string {
	r.tb.Helper()
	s, ok := r.cells[column]
	if !ok {
		r.tb.Fatalf("no column %q", column)
	}
	return s
}

// Num returns a cell that must hold a number.
func (r Row) Num(column string) float64 {
	r.tb.Helper()
	v, err := strconv.ParseFloat(r.Text(column), 64)
	if err != nil {
		r.tb.Fatalf("column %q: %v", column, err)
	}
	return v
}

// Int returns a cell that must hold a whole number.
func (r Row) Int(column string) int {
	r.tb.Helper()
	v, err := strconv.Atoi(r.Text(column))
	if err != nil {
		r.tb.Fatalf("column %q: %v", column, err)
	}
	return v
}
