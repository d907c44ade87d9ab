package call

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/genproto/googleapis/type/date"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// AsOf says which day a read is about.
type AsOf struct {
	Date  *date.Date // nil: today in the trainee's zone
	Field string     // names the date in an error
	Ahead engine.Day // how many days after today the date may lie
	Now   time.Time
	// First returns the first day that is needed for a day.
	First func(asOf engine.Day) engine.Day
	// AtLeast is the text of a revision that is new enough; empty asks for the latest.
	AtLeast string
}

// Present is a snapshot with the day that it is read for.
type Present struct {
	Snapshot store.Snapshot // the window begins on First(AsOf)
	Origin   window.Origin
	AsOf     engine.Day
}

// Read loads the snapshot that a read as of a day needs.
func (a AsOf) Read(ctx context.Context, windows *window.Source, s store.Scope) (Present, error) {
	asked, err := convert.OptDayFromProto(a.Date, a.Field)
	if err != nil {
		return Present{}, err
	}
	// Which day is today depends on the trainee's zone, which only the snapshot
	// knows: it has to begin early enough for every zone. A date far ahead is
	// refused below, and must not make the window begin late before that.
	utc, err := convert.Today(a.Now, convert.DefaultZone)
	if err != nil {
		return Present{}, err
	}
	earliest := utc - 1
	if asked.OK {
		earliest = min(asked.Day, utc+1)
	}
	p := Present{}
	if p.Snapshot, p.Origin, err = a.load(ctx, windows, s, a.First(earliest)); err != nil {
		return Present{}, err
	}
	today, err := convert.Today(a.Now, p.Snapshot.Trainee.TimeZone)
	if err != nil {
		return Present{}, fmt.Errorf("trainee's zone: %w", err)
	}
	p.AsOf = today
	if asked.OK {
		p.AsOf = asked.Day
	}
	if p.AsOf > today+a.Ahead {
		return Present{}, fault.InvalidField(a.Field, "%s lies too far ahead; the last possible day is %s", p.AsOf, today+a.Ahead)
	}
	p.Snapshot.Window = p.Snapshot.Window.Between(a.First(p.AsOf), p.Snapshot.Window.End())
	return p, nil
}

// atLeastField names the revision in an error, in every request that has one.
const atLeastField = "at_least_revision"

func (a AsOf) load(ctx context.Context, windows *window.Source, s store.Scope, first engine.Day) (store.Snapshot, window.Origin, error) {
	if a.AtLeast == "" {
		return windows.Snapshot(ctx, s, first)
	}
	token, err := convert.RevisionFrom(a.AtLeast, atLeastField)
	if err != nil {
		return store.Snapshot{}, window.FromStore, err
	}
	return windows.AtLeast(ctx, s, first, token)
}
