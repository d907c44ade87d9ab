package engine

import (
	"fmt"
	"strconv"
)

// Day is a civil day: the number of days since 1970-01-01 in the proleptic
// Gregorian calendar. It has no time zone; the service turns instants into
// days with the trainee's zone before the engine sees them.
type Day int32

// DayOf returns the day of a calendar date, and false when there is no such
// date (31 April, month 13) or the year lies outside 1..9999.
func DayOf(year, month, day int) (Day, bool) {
	if year < 1 || year > 9999 || month < 1 || month > 12 || day < 1 || day > daysIn(year, month) {
		return 0, false
	}
	// Count from 1 March of year 0, so that the leap day ends a year
	// (Richards, "Calendars", in the Explanatory Supplement to the
	// Astronomical Almanac, 3rd ed., ch. 15, gives the same shifted-year idea).
	y, m := year, month
	if m <= 2 {
		y, m = y-1, m+12
	}
	n := 365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + day - 1
	return Day(n - daysToEpoch), true
}

// daysToEpoch is the count from 0000-03-01 to 1970-01-01.
const daysToEpoch = 719468

// Date returns the calendar date of d.
func (d Day) Date() (year, month, day int) {
	n := int(d) + daysToEpoch
	era := floorDiv(n, 146097)
	doe := n - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	day = doy - (153*mp+2)/5 + 1
	month = mp + 3
	year = yoe + era*400
	if month > 12 {
		month, year = month-12, year+1
	}
	return year, month, day
}

// Weekday returns 0 for Sunday to 6 for Saturday.
func (d Day) Weekday() int { return int(d) + 4 - 7*floorDiv(int(d)+4, 7) }

// String returns the ISO 8601 date, for example 2026-11-25.
func (d Day) String() string {
	y, m, day := d.Date()
	if y < 0 || y > 9999 { // in no log
		return fmt.Sprintf("%04d-%02d-%02d", y, m, day)
	}
	digit := func(n int) byte { return byte('0' + n%10) }
	return string([]byte{digit(y / 1000), digit(y / 100), digit(y / 10), digit(y), '-', digit(m / 10), digit(m), '-', digit(day / 10), digit(day)})
}

// ParseDay reads an ISO 8601 date of exactly the form 2026-11-25.
func ParseDay(s string) (Day, error) {
	if len(s) == 10 && s[4] == '-' && s[7] == '-' {
		y, ey := strconv.ParseUint(s[:4], 10, 16)
		m, em := strconv.ParseUint(s[5:7], 10, 8)
		d, ed := strconv.ParseUint(s[8:], 10, 8)
		if ey == nil && em == nil && ed == nil {
			if day, ok := DayOf(int(y), int(m), int(d)); ok {
				return day, nil
			}
		}
	}
	return 0, fmt.Errorf("%q is not a calendar date of the form 2026-11-25", s)
}

// OptDay is a day that may be unknown. The zero value is unknown.
type OptDay struct {
	Day Day
	OK  bool
}

// SomeDay returns a known day.
func SomeDay(d Day) OptDay { return OptDay{Day: d, OK: true} }

// YearsBetween returns the completed years from birth to on, as for an age.
func YearsBetween(birth, on Day) int {
	by, bm, bd := birth.Date()
	y, m, d := on.Date()
	age := y - by
	if m < bm || (m == bm && d < bd) {
		age--
	}
	return age
}

func daysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
