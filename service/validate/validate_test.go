package validate_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/validate"
)

func kg(value float64, unit pb.MassUnit) *pb.Entry {
	return &pb.Entry{Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: value, Unit: unit}}}}
}

func TestMessage_NamesEveryFieldThatBreaksARule(t *testing.T) {
	for _, c := range []struct {
		name   string
		m      proto.Message
		fields []string
	}{
		{"good", &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: kg(80, 1)}, nil},
		{"no rules", &emptypb.Empty{}, nil},
		{"deep", &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: kg(math.NaN(), 1)}, []string{"entry.weigh_in.weight.value"}},
		{"several", &pb.CreateEntryRequest{Parent: "t1", Entry: kg(-1, 9)}, []string{"entry.weigh_in.weight.unit", "entry.weigh_in.weight.value", "parent"}},
		{"in a list", &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{kg(80, 1), kg(80, 0)}}, []string{"entries[1].weigh_in.weight.unit"}},
		{"a rule of a message inside", &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{Date: &date.Date{Year: 2026}}}, []string{"entry"}},
		{"a rule of the message itself", &pb.Entry{Date: &date.Date{Year: 2026}}, []string{"Entry"}},
		{"entries of a backfill are judged one by one", &pb.BackfillBatch{Entries: []*pb.Entry{kg(-1, 9)}}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := validate.Message(c.m)
			if c.fields == nil {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			var invalid *fault.Invalid
			if !errors.As(err, &invalid) {
				t.Fatalf("%v is not a *fault.Invalid", err)
			}
			var got []string
			for _, f := range invalid.Fields {
				got = append(got, f.Path)
				if strings.TrimSpace(f.Problem) == "" {
					t.Errorf("%s has no problem", f.Path)
				}
			}
			slices.Sort(got)
			if got = slices.Compact(got); !slices.Equal(got, c.fields) {
				t.Errorf("names %q, want %q", got, c.fields)
			}
		})
	}
}
