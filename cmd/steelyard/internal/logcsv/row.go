package logcsv

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
)

// row is one data row while it is read.
type row struct {
	line     int
	columns  map[string]int
	cells    []string
	problems []Problem
}

func (r *row) refuse(column, format string, args ...any) {
	r.problems = append(r.problems, Problem{Line: r.line, Column: column, Text: fmt.Sprintf(format, args...)})
}

// text returns a cell; empty when the file has no such column.
func (r *row) text(name string) string {
	if i, ok := r.columns[name]; ok {
		return r.cells[i]
	}
	return ""
}

// any reports whether one of the cells is filled, and names the first that is.
func (r *row) any(names ...string) (string, bool) {
	for _, n := range names {
		if r.text(n) != "" {
			return n, true
		}
	}
	return "", false
}

// orphan refuses cells that say something about a fact that the row lacks.
func (r *row) orphan(lacks string, names ...string) {
	if n, ok := r.any(names...); ok {
		r.refuse(n, "needs %s in the same row", lacks)
	}
}

// numeral keeps out what strconv also takes and nobody means: hex, "inf", "nan", "1e3".
var numeral = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

// number reads a cell within its column's bounds. It is nil when the cell is
// empty, and when it was refused.
func (r *row) number(name string) *float64 {
	cell := r.text(name)
	if cell == "" {
		return nil
	}
	c, _ := columnNamed(name)
	if !numeral.MatchString(cell) {
		hint := ""
		if strings.Contains(cell, ",") {
			hint = ", with a point for decimals"
		}
		r.refuse(name, "must be a number%s (got %s)", hint, shorten(cell))
		return nil
	}
	v, _ := strconv.ParseFloat(cell, 64) // an overflow gives infinity, which no bound admits
	inUnit := v
	if c.toUnit != nil {
		inUnit = c.toUnit(v)
	}
	if inUnit < c.low || inUnit > c.high || (c.whole && v != math.Trunc(v)) {
		unit := ""
		if c.toUnit != nil {
			unit = " " + name[strings.LastIndex(name, "_")+1:]
		}
		r.refuse(name, "must be %s (got %s%s)", c.rangeText(), shorten(cell), unit)
		return nil
	}
	return &v
}

// integer is number for a column of whole numbers.
func (r *row) integer(name string) *int32 {
	v := r.number(name)
	if v == nil {
		return nil
	}
	n := int32(*v) // in range: every whole column's bounds fit
	return &n
}

// yesNo reads a cell of yes or no; nil when it is empty or refused.
func (r *row) yesNo(name string) *bool {
	cell := r.text(name)
	switch strings.ToLower(cell) {
	case "":
		return nil
	case "yes", "no":
		yes := strings.EqualFold(cell, "yes")
		return &yes
	}
	r.refuse(name, "must be yes or no (got %s)", shorten(cell))
	return nil
}

// nameShape is that of the contract's keys and lifts.
var nameShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// checkName refuses a filled cell that is not a key or a lift's name.
func (r *row) checkName(name, cell string) {
	if cell != "" && !nameShape.MatchString(cell) {
		r.refuse(name, "must be lower-case letters, digits and hyphens, at most 40 (got %s)", shorten(cell))
	}
}

// word reads a cell that holds one of an enum's words; 0 when it is empty or refused.
func (r *row) word(name, cell string, values map[string]int32, prefix string, names map[int32]string) int32 {
	if cell == "" {
		return 0
	}
	if n := values[prefix+strings.ToUpper(cell)]; n != 0 && cell == strings.ToLower(cell) {
		return n
	}
	r.refuse(name, "must be one of %s (got %s)", strings.Join(words(names, prefix), ", "), shorten(cell))
	return 0
}

// oneOf returns the filled one of columns that exclude each other.
func (r *row) oneOf(names ...string) (string, bool) {
	first, ok := r.any(names...)
	for _, n := range names {
		if n != first && r.text(n) != "" {
			r.refuse(n, "give %s or %s, not both", first, n)
		}
	}
	return first, ok
}

// day reads the date; nil when it is refused.
func (r *row) day() *date.Date {
	cell := r.text("date")
	if cell == "" {
		r.refuse("date", "is missing")
		return nil
	}
	t, err := time.Parse(time.DateOnly, cell)
	if err != nil {
		r.refuse("date", "must be a calendar day of the form 2025-01-31 (got %s)", shorten(cell))
		return nil
	}
	if t.Year() < 1970 {
		r.refuse("date", "must not lie before 1970-01-01 (got %s)", cell)
		return nil
	}
	return &date.Date{Year: int32(t.Year()), Month: int32(t.Month()), Day: int32(t.Day())}
}
