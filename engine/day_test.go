package engine

import (
	"strings"
	"testing"
	"time"
)

// agree compares one day with package time, an independent calendar.
func agree(t *testing.T, at time.Time) {
	t.Helper()
	y, m, d := at.Year(), int(at.Month()), at.Day()
	want := Day(at.Unix() / 86_400)
	if at.Unix() < 0 {
		want = Day((at.Unix() - 86_399) / 86_400)
	}
	got, ok := DayOf(y, m, d)
	if !ok || got != want {
		t.Fatalf("DayOf(%d, %d, %d) = %d %v, want %d", y, m, d, got, ok, want)
	}
	if gy, gm, gd := got.Date(); gy != y || gm != m || gd != d {
		t.Fatalf("%d.Date() = %d %d %d, want %v", got, gy, gm, gd, at)
	}
	if got.Weekday() != int(at.Weekday()) {
		t.Fatalf("%v falls on weekday %d, want %v", got, got.Weekday(), at.Weekday())
	}
	iso := at.Format(time.DateOnly)
	if got.String() != iso {
		t.Fatalf("String %q, want %q", got, iso)
	}
	if parsed, err := ParseDay(iso); err != nil || parsed != got {
		t.Fatalf("ParseDay(%q) = %v, %v", iso, parsed, err)
	}
}

func TestDayAgreesWithTime(t *testing.T) {
	date := func(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }
	n := 0
	// Every day of 1896..2104: both centuries without a leap day and the one with.
	for at := date(1896, 1, 1); at.Year() <= 2104; at = at.AddDate(0, 0, 1) {
		agree(t, at)
		n++
	}
	if n != 209*365+51 { // leap days: 1896..2104 every four years but 1900 and 2100
		t.Errorf("compared %d days", n)
	}
	// Every year of 1..3000 and the last ones: the days about its turn and its leap day, and a sample.
	for y := 1; y <= 3000; y++ {
		for _, md := range [][2]int{{1, 1}, {1, 31}, {2, 28}, {3, 1}, {4, 30}, {7, 1 + y%31}, {12, 31}} {
			agree(t, date(y, md[0], md[1]))
		}
		agree(t, date(y, 2, 28).AddDate(0, 0, 1))
	}
	agree(t, date(9999, 12, 31))
}

// A day of another year than those of four digits is still written as it is.
func TestDayStringOfOtherYears(t *testing.T) {
	first, _ := DayOf(1, 1, 1)
	last, _ := DayOf(9999, 12, 31)
	for d, want := range map[Day]string{first - 366: "0000-01-01", first - 367: "-001-12-31", last + 1: "10000-01-01"} {
		if got := d.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestDayEpoch(t *testing.T) {
	if d, ok := DayOf(1970, 1, 1); !ok || d != 0 {
		t.Errorf("1970-01-01 is day %d %v", d, ok)
	}
	// A Wednesday.
	if d, _ := DayOf(2026, 11, 25); d != 20_782 || d.Weekday() != 3 {
		t.Errorf("2026-11-25 is day %d, weekday %d", d, d.Weekday())
	}
}

func TestDayOfNoSuchDate(t *testing.T) {
	for _, c := range [][3]int{
		{2026, 0, 1}, {2026, 13, 1}, {2026, -1, 1}, {2026, 1, 0}, {2026, 1, 32}, {2026, 1, -1}, {2026, 4, 31}, {2026, 6, 31},
		{2026, 9, 31}, {2026, 11, 31}, {2026, 2, 29}, {2024, 2, 30}, {1900, 2, 29}, {2100, 2, 29}, {2000, 2, 30},
		{0, 1, 1}, {-1, 1, 1}, {10_000, 1, 1},
	} {
		if d, ok := DayOf(c[0], c[1], c[2]); ok || d != 0 {
			t.Errorf("DayOf%v = %v", c, d)
		}
	}
	for _, c := range [][3]int{{2024, 2, 29}, {2000, 2, 29}, {1, 1, 1}, {9999, 12, 31}} {
		if _, ok := DayOf(c[0], c[1], c[2]); !ok {
			t.Errorf("DayOf%v refused", c)
		}
	}
}

func TestParseDayBadInput(t *testing.T) {
	for _, s := range []string{
		"", "today", "2026-11-2", "2026-11-251", "2026-11-025", "2026-1-25", "26-11-25", "2026/11/25", "2026-11/25", "2026.11.25", "20261125",
		"2026-13-01", "2026-00-10", "2026-02-29", "2026-11-31", "0000-01-01", "-001-01-01", "+026-11-25", "2026-+1-25", "2026--1-25",
		"2026-11-+5", "2026- 1-25", " 2026-11-2", "2026-11-25T", "20_6-11-25", "0x26-11-25", "２０26-11", "2026-1\x00-25",
	} {
		d, err := ParseDay(s)
		if err == nil || d != 0 {
			t.Errorf("ParseDay(%q) = %v", s, d)
			continue
		}
		if !strings.Contains(err.Error(), "2026-11-25") {
			t.Errorf("ParseDay(%q): %v does not show the form", s, err)
		}
	}
}

func TestYearsBetween(t *testing.T) {
	day := func(s string) Day {
		d, err := ParseDay(s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, c := range []struct {
		birth, on string
		want      int
	}{
		{"2000-06-15", "2000-06-15", 0},
		{"2000-06-15", "2018-06-14", 17},
		{"2000-06-15", "2018-06-15", 18},
		{"2000-06-15", "2018-07-01", 18},
		{"2000-06-15", "2018-05-31", 17},
		{"1999-12-31", "2000-01-01", 0},
		{"2000-02-29", "2018-02-28", 17}, // born on a leap day: complete on 1 March
		{"2000-02-29", "2018-03-01", 18},
		{"2000-02-29", "2020-02-29", 20},
		{"2018-06-15", "2018-06-14", -1}, // not born yet
	} {
		if got := YearsBetween(day(c.birth), day(c.on)); got != c.want {
			t.Errorf("YearsBetween(%s, %s) = %d, want %d", c.birth, c.on, got, c.want)
		}
	}
}

func TestOptDay(t *testing.T) {
	if d := SomeDay(0); !d.OK || d.Day != 0 {
		t.Errorf("SomeDay(0) = %+v", d)
	}
	if (OptDay{}).OK {
		t.Error("the zero value is known")
	}
}
