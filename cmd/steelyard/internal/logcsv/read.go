package logcsv

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"buf.build/go/protovalidate"
)

// traineeShape is that of the contract's trainee ids.
var traineeShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// Read reads a log. trainee stands in for rows that name none; it may be empty.
// An error means that the file as a whole cannot be read, names the line where
// there is one, and comes with no log; what is wrong with single rows is in
// Log.Refused.
func Read(r io.Reader, trainee string) (*Log, error) {
	content, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read: %w", err)
	}
	if len(content) > MaxBytes {
		return nil, fmt.Errorf("longer than %d MiB; split it", MaxBytes>>20)
	}
	sum := sha256.Sum256(content)
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	if err := checkText(content); err != nil {
		return nil, err
	}

	c := csv.NewReader(bytes.NewReader(content))
	c.FieldsPerRecord = -1 // checked here, to name the line plainly
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("line 1: the header row is missing")
	}
	if err != nil {
		return nil, plainCSVError(err)
	}
	columns, err := readHeader(head)
	if err != nil {
		return nil, err
	}
	if _, ok := columns["trainee"]; !ok && trainee == "" {
		return nil, errors.New("line 1: there is no column trainee; name the trainee with --trainee")
	}
	b := builder{
		log:     &Log{SHA256: hex.EncodeToString(sum[:]), header: trimmed(head)},
		columns: columns, trainee: trainee,
		parts: map[string]int{}, sets: map[setKey]int{}, seen: map[naturalKey]int{},
	}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return b.log, nil
		}
		if err != nil {
			return nil, plainCSVError(err)
		}
		line, _ := c.FieldPos(0)
		if len(cells) != len(head) {
			return nil, fmt.Errorf("line %d: has %d cells, but the header has %d", line, len(cells), len(head))
		}
		b.add(line, trimmed(cells))
	}
}

// checkText names the first line that is not UTF-8.
func checkText(content []byte) error {
	if utf8.Valid(content) {
		return nil
	}
	line := 1
	for l := range bytes.Lines(content) {
		if !utf8.Valid(l) {
			return fmt.Errorf("line %d: is not UTF-8 text", line)
		}
		line++
	}
	return nil
}

func plainCSVError(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("line %d: a quote is misplaced or not closed", p.StartLine)
	}
	return err
}

func readHeader(head []string) (map[string]int, error) {
	columns := make(map[string]int, len(head))
	for i, name := range trimmed(head) {
		if _, ok := columnNamed(name); !ok {
			return nil, fmt.Errorf("line 1: unknown column %q", shorten(name))
		}
		if _, twice := columns[name]; twice {
			return nil, fmt.Errorf("line 1: column %q stands twice", name)
		}
		columns[name] = i
	}
	if _, ok := columns["date"]; !ok {
		return nil, errors.New("line 1: there is no column date")
	}
	return columns, nil
}

func trimmed(cells []string) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = strings.TrimSpace(c)
	}
	return out
}

type setKey struct{ trainee, date, lift string }

type naturalKey struct{ trainee, date, kind, key string }

// builder turns rows into a Log.
type builder struct {
	log     *Log
	columns map[string]int
	trainee string

	parts map[string]int // index into log.Parts
	sets  map[setKey]int
	seen  map[naturalKey]int // line of the first
}

// add makes the entries of one row, or refuses the row.
func (b *builder) add(line int, cells []string) {
	b.log.Rows++
	r := &row{line: line, columns: b.columns, cells: cells}
	who := r.text("trainee")
	if who == "" {
		who = b.trainee
	}
	if who == "" {
		r.refuse("trainee", "is missing")
	} else if !traineeShape.MatchString(who) {
		r.refuse("trainee", "must be lower-case letters, digits and hyphens, 1 to 63 (got %s)", shorten(who))
	}
	r.checkName("key", r.text("key"))
	day := r.day()
	date := r.text("date")
	entries := r.facts(func(lift string) int {
		k := setKey{who, date, lift}
		b.sets[k]++
		return b.sets[k]
	})
	for i, e := range entries {
		e.Date = day
		if e.Key == "" {
			e.Key = r.text("key")
		}
		if i == 0 {
			e.Note = r.text("note")
		}
	}
	if len(entries) == 0 {
		r.orphan("something to log", "key", "note")
	}
	items := make([]Item, len(entries))
	for i, e := range entries {
		items[i] = Item{Entry: e, Line: line, cells: cells}
	}
	if len(r.problems) == 0 { // a cell that was refused is missing from its entry: one report is enough
		b.validate(r, items)
	}
	if len(r.problems) == 0 {
		b.checkTwice(r, who, items)
	}
	if len(r.problems) > 0 {
		b.log.Refused = append(b.log.Refused, r.problems...)
		return
	}
	b.keep(who, items)
}

// validate applies the contract's own rules to what the cells made.
func (b *builder) validate(r *row, items []Item) {
	for _, it := range items {
		err := protovalidate.Validate(it.Entry)
		var bad *protovalidate.ValidationError
		if errors.As(err, &bad) {
			for _, v := range bad.Violations {
				r.problems = append(r.problems, b.log.Explain(it, protovalidate.FieldPathString(v.Proto.GetField()), v.Proto.GetMessage()))
			}
		} else if err != nil {
			r.refuse("", "cannot be checked: %v", err)
		}
	}
}

func (b *builder) checkTwice(r *row, who string, items []Item) {
	keys := make([]naturalKey, len(items))
	for i, it := range items {
		k := naturalKey{who, r.text("date"), factPrefix(it.Entry), it.Entry.GetKey()}
		if k.key == "" {
			k.key = "1" // what the contract takes for an absent key
		}
		keys[i] = k
		kind := strings.ReplaceAll(strings.TrimSuffix(k.kind, "."), "_", "-")
		if first, twice := b.seen[k]; twice {
			r.refuse("", "the same %s of %s as on line %d; a key of its own tells two apart", kind, k.date, first)
		}
		for _, earlier := range keys[:i] {
			if earlier == k {
				r.refuse("", "the same %s twice", kind)
			}
		}
	}
	if len(r.problems) > 0 {
		return
	}
	for _, k := range keys {
		b.seen[k] = r.line
	}
}

func (b *builder) keep(who string, items []Item) {
	if len(items) == 0 {
		return
	}
	i, ok := b.parts[who]
	if !ok {
		i = len(b.log.Parts)
		b.parts[who] = i
		b.log.Parts = append(b.log.Parts, Part{Trainee: who})
	}
	b.log.Parts[i].Items = append(b.log.Parts[i].Items, items...)
}
