package convert

import (
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/types/known/timestamppb"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
)

// DayFromProto reads a calendar date; field names it in the error. A date that
// is absent is an error.
func DayFromProto(d *date.Date, field string) (engine.Day, error) {
	if d == nil {
		return 0, fault.InvalidField(field, "is required")
	}
	day, ok := engine.DayOf(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	if !ok {
		return 0, fault.InvalidField(field, "%04d-%02d-%02d is not a calendar date", d.GetYear(), d.GetMonth(), d.GetDay())
	}
	if day < 0 {
		return 0, fault.InvalidField(field, "%s lies before 1970-01-01", day)
	}
	return day, nil
}

// OptDayFromProto reads a calendar date that may be absent.
func OptDayFromProto(d *date.Date, field string) (engine.OptDay, error) {
	if d == nil {
		return engine.OptDay{}, nil
	}
	day, err := DayFromProto(d, field)
	return engine.OptDay{Day: day, OK: err == nil}, err
}

// BirthDateFromProto reads a date of birth: 1900 or later, not after today.
func BirthDateFromProto(d *date.Date, today engine.Day, field string) (engine.OptDay, error) {
	if d == nil {
		return engine.OptDay{}, nil
	}
	day, ok := engine.DayOf(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	if !ok {
		return engine.OptDay{}, fault.InvalidField(field, "%04d-%02d-%02d is not a calendar date", d.GetYear(), d.GetMonth(), d.GetDay())
	}
	if d.GetYear() < 1900 || day > today {
		return engine.OptDay{}, fault.InvalidField(field, "%s is not between 1900-01-01 and today", day)
	}
	return engine.SomeDay(day), nil
}

// DayToProto writes a calendar date.
func DayToProto(d engine.Day) *date.Date {
	y, m, day := d.Date()
	return &date.Date{Year: int32(y), Month: int32(m), Day: int32(day)}
}

// OptDayToProto writes a date that may be unknown.
func OptDayToProto(d engine.OptDay) *date.Date {
	if !d.OK {
		return nil
	}
	return DayToProto(d.Day)
}

// Today returns the civil day of an instant in a time zone.
func Today(now time.Time, zone string) (engine.Day, error) {
	loc, err := zones.of(zone)
	if err != nil {
		return 0, err
	}
	y, m, d := now.In(loc).Date()
	day, ok := engine.DayOf(y, int(m), d)
	if !ok {
		return 0, fault.InvalidField("time_zone", "today is no calendar date there")
	}
	return day, nil
}

func timeToProto(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func optToProto(o engine.Opt) *float64 {
	if !o.OK {
		return nil
	}
	return &o.V
}

func optFromProto(p *float64) engine.Opt {
	if p == nil {
		return engine.Opt{}
	}
	return engine.Some(*p)
}

func optIntToProto(o engine.Opt) *int32 {
	if !o.OK {
		return nil
	}
	v := int32(o.V)
	return &v
}

func optIntFromProto(p *int32) engine.Opt {
	if p == nil {
		return engine.Opt{}
	}
	return engine.Some(float64(*p))
}
