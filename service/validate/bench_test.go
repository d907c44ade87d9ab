package validate

import (
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
)

func BenchmarkMessage(b *testing.B) {
	day := &date.Date{Year: 2026, Month: 3, Day: 1}
	kg := &pb.Mass{Value: 80, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}
	for name, m := range map[string]proto.Message{
		"weigh-in": &pb.Entry{Date: day, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: kg}}},
		"intake": &pb.Entry{Date: day, Fact: &pb.Entry_Intake{Intake: &pb.Intake{
			Energy: &pb.Energy{Value: 2000, Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}, ProteinG: proto.Float64(150)}}},
		"lift-set":  &pb.Entry{Date: day, Key: "squat-2", Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: "back-squat", Load: kg, Reps: 5}}},
		"check-in":  &pb.Entry{Date: day, Fact: &pb.Entry_CheckIn{CheckIn: &pb.CheckIn{Sleep: proto.Int32(3)}}},
		"recommend": &pb.RecommendRequest{Name: "trainees/0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11/plans/p", AsOfDate: day},
	} {
		b.Run(name+"/sure", func(b *testing.B) {
			for b.Loop() {
				if !surely(m) {
					b.Fatal("not sure")
				}
			}
		})
		b.Run(name+"/full", func(b *testing.B) {
			for b.Loop() {
				if err := protovalidate.Validate(m); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
