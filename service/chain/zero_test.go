package chain

import (
	"math"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/structpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

var minus = math.Copysign(0, -1)

// TestUnsigned_ReachesEveryNumber puts -0 into each number of each request of the
// contract in turn, at any depth, and sends it by either way that a request comes in.
func TestUnsigned_ReachesEveryNumber(t *testing.T) {
	requests, numbers := 0, 0
	protoregistry.GlobalFiles.RangeFilesByPackage("steelyard.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				requests++
				input := f.Services().Get(i).Methods().Get(j).Input()
				of, err := protoregistry.GlobalTypes.FindMessageByName(input.FullName())
				if err != nil {
					t.Fatal(err)
				}
				eachNumber(input, nil, func(path []protoreflect.FieldDescriptor) {
					numbers++
					m := of.New()
					put(m, path)
					raw, err := proto.Marshal(m.Interface())
					if err != nil || minuses(m) != 1 {
						t.Fatalf("%v is not put: %v", path, err)
					}
					_ = valid(m.Interface()) // the rules may refuse it
					if minuses(m) != 0 {
						t.Errorf("%s: %v keeps its sign", input.Name(), path)
					}
					streamed := of.New().Interface()
					_ = validating{arriving{raw: raw}}.RecvMsg(streamed)
					if proto.Size(streamed) == 0 || minuses(streamed.ProtoReflect()) != 0 {
						t.Errorf("%s in a stream: %v keeps its sign", input.Name(), path)
					}
				})
			}
		}
		return true
	})
	if requests < 25 || numbers < 100 {
		t.Errorf("only %d numbers of %d requests", numbers, requests)
	}
	t.Logf("%d numbers of %d requests", numbers, requests)
}

// eachNumber calls f with the way to each double below a message type.
func eachNumber(d protoreflect.MessageDescriptor, path []protoreflect.FieldDescriptor, f func([]protoreflect.FieldDescriptor)) {
	for i := range d.Fields().Len() {
		field := d.Fields().Get(i)
		way := append(path[:len(path):len(path)], field)
		switch {
		case field.Message() != nil:
			eachNumber(field.Message(), way, f)
		case field.Kind() == protoreflect.DoubleKind:
			f(way)
		case field.Kind() == protoreflect.FloatKind:
			panic(field.FullName() + " is a float")
		}
	}
}

// put sets the double at the end of a way to -0; in each list on it in the second place.
func put(m protoreflect.Message, path []protoreflect.FieldDescriptor) {
	for _, f := range path[:len(path)-1] {
		if !f.IsList() {
			m = m.Mutable(f).Message()
			continue
		}
		m.Mutable(f).List().AppendMutable()
		m = m.Mutable(f).List().AppendMutable().Message()
	}
	end := path[len(path)-1]
	if end.IsList() {
		panic(end.FullName() + " is a list of numbers")
	}
	m.Set(end, protoreflect.ValueOfFloat64(minus))
}

// minuses counts the -0 of a message.
func minuses(m protoreflect.Message) (n int) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Message() != nil && f.IsList():
			for i := range v.List().Len() {
				n += minuses(v.List().Get(i).Message())
			}
		case f.Message() != nil:
			n += minuses(v.Message())
		case f.Kind() == protoreflect.DoubleKind && v.Float() == 0 && math.Signbit(v.Float()):
			n++
		}
		return true
	})
	return n
}

// arriving is a stream with one message.
type arriving struct {
	grpc.ServerStream
	raw []byte
}

func (a arriving) RecvMsg(m any) error { return proto.Unmarshal(a.raw, m.(proto.Message)) }

func TestUnsigned_LeavesTheRest(t *testing.T) {
	const text = "a"
	for _, m := range []proto.Message{
		&pb.Entry{}, &pb.Entry{Fact: (*pb.Entry_Intake)(nil)}, &pb.Entry{Fact: &pb.Entry_Intake{}}, &pb.Entry{Fact: &pb.Entry_Tape{Tape: &pb.Tape{}}},
		&pb.BatchCreateEntriesRequest{Parent: text, Entries: []*pb.Entry{nil, {Note: text, Fact: &pb.Entry_Intake{Intake: &pb.Intake{
			Energy: &pb.Energy{Value: -1, Unit: 1}, ProteinG: proto.Float64(0), CarbohydrateG: proto.Float64(math.Inf(-1)), FatG: proto.Float64(-5e-324)}}}}},
		&pb.RecommendRequest{Name: text},
	} {
		before := proto.Clone(m)
		if err := unsigned(m); err != nil || !proto.Equal(before, m) {
			t.Errorf("%v became %v: %v", before, m, err)
		}
	}
}

// TestUnsigned_RefusesWhatItCannotReach rather than let a sign pass.
func TestUnsigned_RefusesWhatItCannotReach(t *testing.T) {
	for _, m := range []proto.Message{&structpb.Struct{}, &structpb.ListValue{}} {
		if unsigned(m) == nil {
			t.Errorf("%T passes", m)
		}
	}
}

func BenchmarkUnsigned(b *testing.B) {
	for name, m := range map[string]proto.Message{
		"recommend": &pb.RecommendRequest{Name: "trainees/t1/plans/p"},
		"intake":    &pb.Entry{Fact: &pb.Entry_Intake{Intake: &pb.Intake{Energy: &pb.Energy{Value: 2000, Unit: 1}, ProteinG: proto.Float64(150)}}},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := unsigned(m); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
