package postgres

import "github.com/jackc/pgx/v5/pgtype"

// column is a column of rows as an array of the server. Its elements are the rows
// where they lie, each as a type that shows the one field: nothing is copied or
// allocated for them.
type column struct {
	rows  []entryRow
	field func(*entryRow) any
}

var _ pgtype.ArrayGetter = column{}

// Dimensions implements pgtype.ArrayGetter.
func (c column) Dimensions() []pgtype.ArrayDimension {
	return []pgtype.ArrayDimension{{Length: int32(len(c.rows)), LowerBound: 1}}
}

// Index implements pgtype.ArrayGetter.
func (c column) Index(i int) any { return c.field(&c.rows[i]) }

// IndexType implements pgtype.ArrayGetter.
func (c column) IndexType() any { return c.field(&entryRow{}) }

type (
	dayOf  entryRow
	kindOf entryRow
	keyOf  entryRow
	noteOf entryRow
	factOf entryRow
)

func entryDays(r *entryRow) any  { return (*dayOf)(r) }
func entryKinds(r *entryRow) any { return (*kindOf)(r) }
func entryKeys(r *entryRow) any  { return (*keyOf)(r) }
func entryNotes(r *entryRow) any { return (*noteOf)(r) }
func entryFacts(r *entryRow) any { return (*factOf)(r) }

// Int64Value implements pgtype.Int64Valuer.
func (r *dayOf) Int64Value() (pgtype.Int8, error) {
	return pgtype.Int8{Int64: int64(r.Day), Valid: true}, nil
}

// Int64Value implements pgtype.Int64Valuer.
func (r *kindOf) Int64Value() (pgtype.Int8, error) {
	return pgtype.Int8{Int64: int64(r.Kind), Valid: true}, nil
}

// TextValue implements pgtype.TextValuer.
func (r *keyOf) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: r.Key, Valid: true}, nil
}

// TextValue implements pgtype.TextValuer.
func (r *noteOf) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: r.note, Valid: true}, nil
}

// BytesValue implements pgtype.BytesValuer.
func (r *factOf) BytesValue() ([]byte, error) { return r.fact, nil }
