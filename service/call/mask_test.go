package call_test

import (
	"errors"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/fault"
)

// before is a trainee with every kind of field set.
func before() *pb.Trainee {
	return &pb.Trainee{
		Name: "trainees/t1", DisplayName: "A", TimeZone: "UTC", Sex: pb.Sex_SEX_FEMALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4},
		HeightCm: proto.Float64(170), ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_ACTIVE,
		Conditions: []pb.HealthCondition{1}, CreateTime: &timestamppb.Timestamp{Seconds: 1}, Revision: "r1",
	}
}

func TestMerge(t *testing.T) {
	sent := &pb.Trainee{
		Name: "trainees/other", DisplayName: "B", BirthDate: &date.Date{Year: 1988}, HeightCm: proto.Float64(171),
		CreateTime: &timestamppb.Timestamp{Seconds: 9}, Revision: "r9",
	}
	for _, c := range []struct {
		name  string
		paths []string
		want  func(*pb.Trainee)
	}{
		{"one path", []string{"display_name"}, func(m *pb.Trainee) { m.DisplayName = "B" }},
		{"two paths", []string{"display_name", "height_cm"}, func(m *pb.Trainee) { m.DisplayName, m.HeightCm = "B", proto.Float64(171) }},
		{"the same path twice", []string{"display_name", "display_name"}, func(m *pb.Trainee) { m.DisplayName = "B" }},
		{"JSON's spelling", []string{"displayName", "heightCm"}, func(m *pb.Trainee) { m.DisplayName, m.HeightCm = "B", proto.Float64(171) }},
		{"into a date", []string{"birth_date.year"}, func(m *pb.Trainee) { m.BirthDate = &date.Date{Year: 1988} }},
		{"into a date by JSON", []string{"birthDate.day"}, func(m *pb.Trainee) { m.BirthDate = &date.Date{Year: 1988} }},
		{"a field that is left out", []string{"sex"}, func(m *pb.Trainee) { m.Sex = 0 }},
		{"a list that is left out", []string{"conditions"}, func(m *pb.Trainee) { m.Conditions = nil }},
		{"a number that is left out", []string{"maintenance_guess_kcal"}, func(*pb.Trainee) {}},
		{"what only the service writes", []string{"create_time", "revision", "name"}, func(*pb.Trainee) {}},
		{"no mask", nil, func(m *pb.Trainee) {
			m.DisplayName, m.BirthDate, m.HeightCm = "B", &date.Date{Year: 1988}, proto.Float64(171)
		}},
		{"everything", []string{"*"}, func(m *pb.Trainee) {
			m.DisplayName, m.BirthDate, m.HeightCm = "B", &date.Date{Year: 1988}, proto.Float64(171)
			m.TimeZone, m.Sex, m.ActivityLevel, m.Conditions = "", 0, 0, nil
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, want, src := before(), before(), proto.Clone(sent)
			c.want(want)
			if err := call.Merge(got, src, &fieldmaskpb.FieldMask{Paths: c.paths}); err != nil {
				t.Fatal(err)
			}
			if !proto.Equal(got, want) {
				t.Errorf("got  %v\nwant %v", got, want)
			}
			if !proto.Equal(src, sent) {
				t.Errorf("the request was changed: %v", src)
			}
		})
	}
	t.Run("no mask message", func(t *testing.T) {
		got := before()
		if err := call.Merge(got, &pb.Trainee{DisplayName: "B"}, nil); err != nil || got.GetDisplayName() != "B" || got.GetSex() != pb.Sex_SEX_FEMALE {
			t.Errorf("%v, %v", got, err)
		}
	})
}

// TestMerge_WhatWasReadMayBeSentBack: a message that is sent back whole changes nothing.
func TestMerge_WhatWasReadMayBeSentBack(t *testing.T) {
	for _, paths := range [][]string{nil, {"*"}, {"name", "display_name", "birth_date", "create_time"}} {
		got := before()
		if err := call.Merge(got, before(), &fieldmaskpb.FieldMask{Paths: paths}); err != nil || !proto.Equal(got, before()) {
			t.Errorf("mask %v: %v, %v", paths, got, err)
		}
	}
}

func TestMerge_RefusesUnknownPaths(t *testing.T) {
	for _, c := range []struct {
		paths []string
		field string
	}{
		{[]string{"hieght_cm"}, "update_mask.paths[0]"},
		{[]string{"height_cm", "shoe_size"}, "update_mask.paths[1]"},
		{[]string{""}, "update_mask.paths[0]"},
		{[]string{".height_cm"}, "update_mask.paths[0]"},
		{[]string{"*", "nope"}, "update_mask.paths[1]"},
		{[]string{"\xff"}, "update_mask.paths[0]"},
	} {
		got := before()
		err := call.Merge(got, &pb.Trainee{}, &fieldmaskpb.FieldMask{Paths: c.paths})
		var invalid *fault.Invalid
		if !errors.As(err, &invalid) || invalid.Fields[0].Path != c.field {
			t.Errorf("%q: %v, want it to name %s", c.paths, err, c.field)
		}
		if !proto.Equal(got, before()) {
			t.Errorf("%q changed the message: %v", c.paths, got)
		}
	}
}
