package trends

import (
	"context"
	"fmt"

	"google.golang.org/genproto/googleapis/type/date"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// input is what a trend is computed from.
type input struct {
	snap   store.Snapshot
	origin window.Origin
	asOf   engine.Day
}

// read loads the window that ends on the asked day, or on today in the
// trainee's zone; firstOf says where it begins.
func (s *Server) read(ctx context.Context, sc store.Scope, asked *date.Date, field string, firstOf func(asOf engine.Day) engine.Day) (input, error) {
	asOf, err := convert.OptDayFromProto(asked, field)
	if err != nil {
		return input{}, err
	}
	// The trainee's zone is known only with the snapshot: start a day early.
	utc, err := convert.Today(s.Now(), convert.DefaultZone)
	if err != nil {
		return input{}, err
	}
	from := utc - 1
	if asOf.OK {
		from = min(asOf.Day, utc+1)
	}
	in := input{}
	if in.snap, in.origin, err = s.Windows.Snapshot(ctx, sc, firstOf(from)); err != nil {
		return input{}, err
	}
	today, err := convert.Today(s.Now(), in.snap.Trainee.TimeZone)
	if err != nil {
		return input{}, fmt.Errorf("trainee's zone: %w", err)
	}
	in.asOf = today
	if asOf.OK {
		in.asOf = asOf.Day
	}
	if in.asOf > today+1 {
		return input{}, fault.InvalidField(field, "%s lies in the future", in.asOf)
	}
	first := firstOf(in.asOf)
	in.snap.Window = in.snap.Window.Between(first, max(first, in.snap.Window.End()))
	return in, nil
}
