package convert_test

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// enums draws a value of an enum of the contract, the unspecified one included.
func enums[E ~int32](names map[int32]string) *rapid.Generator[E] {
	return rapid.Map(rapid.Int32Range(0, int32(len(names)-1)), func(n int32) E { return E(n) })
}

func TestTrainee_RoundTrip(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		given := &pb.Trainee{
			Name: texts.Draw(t, "ignored name"), DisplayName: texts.Draw(t, "display name"),
			TimeZone: rapid.SampledFrom([]string{"", "UTC", "Pacific/Auckland", "America/Los_Angeles", "Asia/Kathmandu"}).Draw(t, "zone"),
			Sex:      enums[pb.Sex](pb.Sex_name).Draw(t, "sex"), HeightCm: optional(100, 250).Draw(t, "height"),
			ActivityLevel:        enums[pb.ActivityLevel](pb.ActivityLevel_name).Draw(t, "level"),
			MaintenanceGuessKcal: optional(800, 8000).Draw(t, "guess"),
			Conditions: rapid.SliceOfNDistinct(rapid.Map(rapid.Int32Range(1, int32(len(pb.HealthCondition_name)-1)),
				func(n int32) pb.HealthCondition { return pb.HealthCondition(n) }), 0, -1, rapid.ID).Draw(t, "conditions"),
			Revision: texts.Draw(t, "ignored revision"), CreateTime: timestamppb.New(now),
		}
		if rapid.Bool().Draw(t, "birth known") {
			given.BirthDate = convert.DayToProto(engine.Day(rapid.IntRange(int(mustDay(1900, 1, 1)), int(mustDay(2026, 2, 28))).Draw(t, "birth")))
		}
		id := ids.Draw(t, "id")
		stored, err := convert.TraineeFromProto(given, id, now)
		if err != nil {
			t.Fatalf("%v is refused: %v", given, err)
		}
		stored.Created, stored.Updated = now.Add(-time.Hour), now

		want := proto.Clone(given).(*pb.Trainee)
		want.Name, want.Revision = "trainees/"+id, "00112233445566778899aabbccddeeff-7"
		want.CreateTime, want.UpdateTime = timestamppb.New(now.Add(-time.Hour)), timestamppb.New(now)
		slices.Sort(want.Conditions)
		if want.TimeZone == "" {
			want.TimeZone = "UTC"
		}
		got := convert.TraineeToProto(stored, head)
		if !proto.Equal(got, want) {
			t.Fatalf("given %v\ngot   %v\nwant  %v", given, got, want)
		}
		again, err := convert.TraineeFromProto(got, id, now)
		again.Created, again.Updated = stored.Created, stored.Updated
		if err != nil || again != stored {
			t.Fatalf("what was answered reads as %+v, %v, want %+v", again, err, stored)
		}
	})
}

// TestTrainee_UnknownStaysUnknown: nobody knows anything of a trainee without a profile.
func TestTrainee_UnknownStaysUnknown(t *testing.T) {
	stored, err := convert.TraineeFromProto(&pb.Trainee{}, "t1", now)
	if err != nil || stored != (store.Trainee{ID: "t1", TimeZone: "UTC"}) {
		t.Errorf("%+v, %v", stored, err)
	}
	if got, want := convert.TraineeToProto(stored, head), (&pb.Trainee{Name: "trainees/t1", TimeZone: "UTC", Revision: convert.Revision(head)}); !proto.Equal(got, want) {
		t.Errorf("%v", got)
	}
}

func TestTrainee_Refused(t *testing.T) {
	for _, c := range []struct {
		name  string
		given *pb.Trainee
		field string
	}{
		{"born tomorrow", &pb.Trainee{BirthDate: &date.Date{Year: 2026, Month: 3, Day: 2}}, "birth_date"},
		{"born today, there it is yesterday", &pb.Trainee{TimeZone: "Etc/GMT+12", BirthDate: &date.Date{Year: 2026, Month: 3, Day: 2}}, "birth_date"},
		{"born in 1899", &pb.Trainee{BirthDate: &date.Date{Year: 1899, Month: 12, Day: 31}}, "birth_date"},
		{"born in year 0", &pb.Trainee{BirthDate: &date.Date{Month: 1, Day: 1}}, "birth_date"},
		{"born on no day", &pb.Trainee{BirthDate: &date.Date{Year: 1990, Month: 2, Day: 30}}, "birth_date"},
		{"zone that is none", &pb.Trainee{TimeZone: "Mars/Olympus"}, "time_zone"},
		{"the server's own zone", &pb.Trainee{TimeZone: "Local"}, "time_zone"},
		{"a path", &pb.Trainee{TimeZone: "../../etc/passwd"}, "time_zone"},
		{"an absolute path", &pb.Trainee{TimeZone: "/etc/localtime"}, "time_zone"},
		{"a zone's folder", &pb.Trainee{TimeZone: "Europe"}, "time_zone"},
		{"a space", &pb.Trainee{TimeZone: " "}, "time_zone"},
	} {
		if got, err := convert.TraineeFromProto(c.given, "t1", now); fieldOf(err) != c.field || got != (store.Trainee{}) {
			t.Errorf("%s: %+v, %v", c.name, got, err)
		}
	}
	for name, given := range map[string]*pb.Trainee{
		"born today":                      {BirthDate: &date.Date{Year: 2026, Month: 3, Day: 1}},
		"born today, there it is already": {TimeZone: "Pacific/Kiritimati", BirthDate: &date.Date{Year: 2026, Month: 3, Day: 2}},
		"born in 1900":                    {BirthDate: &date.Date{Year: 1900, Month: 1, Day: 1}},
	} {
		if _, err := convert.TraineeFromProto(given, "t1", now); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestToday_IsTheZonesOwn(t *testing.T) {
	for _, c := range []struct {
		at   time.Time
		zone string
		want string
	}{
		{now, "UTC", "2026-03-01"},
		{now, "", "2026-03-01"},
		{now, "Pacific/Kiritimati", "2026-03-02"},                                        // UTC+14
		{now.Add(-time.Hour), "Etc/GMT+12", "2026-02-28"},                                // UTC-12
		{time.Date(2026, 3, 29, 0, 59, 0, 0, time.UTC), "Europe/Vienna", "2026-03-29"},   // the hour before summer time
		{time.Date(2026, 10, 24, 21, 59, 0, 0, time.UTC), "Europe/Vienna", "2026-10-24"}, // a minute to midnight
		{time.Date(2026, 10, 24, 22, 0, 0, 0, time.UTC), "Europe/Vienna", "2026-10-25"},
		{time.Date(2011, 12, 30, 12, 0, 0, 0, time.UTC), "Pacific/Apia", "2011-12-31"}, // Samoa left 30 December 2011 out (IANA time zone database)
	} {
		if got, err := convert.Today(c.at, c.zone); err != nil || got.String() != c.want {
			t.Errorf("%v in %q: %v, %v, want %s", c.at, c.zone, got, err, c.want)
		}
	}
	if got, err := convert.Today(now, "Mars/Olympus"); err == nil {
		t.Errorf("Mars/Olympus: %v", got)
	}
}

func TestDays_RoundTrip(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		day := engine.Day(rapid.IntRange(0, int(mustDay(9999, 12, 31))).Draw(t, "day"))
		if got, err := convert.DayFromProto(convert.DayToProto(day), "date"); err != nil || got != day {
			t.Fatalf("%s reads as %s, %v", day, got, err)
		}
		if got, err := convert.OptDayFromProto(convert.OptDayToProto(engine.SomeDay(day)), "date"); err != nil || got != engine.SomeDay(day) {
			t.Fatalf("%s reads as %v, %v", day, got, err)
		}
	})
	if got, err := convert.OptDayFromProto(nil, "date"); err != nil || got.OK {
		t.Errorf("absent: %v, %v", got, err)
	}
	if got := convert.OptDayToProto(engine.OptDay{Day: 7}); got != nil {
		t.Errorf("unknown: %v", got)
	}
	if got, err := convert.OptDayFromProto(&date.Date{Year: 2025, Month: 4, Day: 31}, "start_date"); fieldOf(err) != "start_date" || got.OK {
		t.Errorf("no such day: %v, %v", got, err)
	}
}
