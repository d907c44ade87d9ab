package logbook_test

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/logbook"
	"example.com/steelyard/service/store"
)

// nowhere is a store that keeps nothing but how far an upload is.
type nowhere struct {
	store.Store
	tx nothing
}

func (n *nowhere) View(_ context.Context, _ store.Scope, f func(store.View) error) error {
	return f(&n.tx)
}

func (n *nowhere) Update(_ context.Context, _ store.Scope, _ store.Once, f store.Write) ([]byte, error) {
	answer, err := f(&n.tx)
	if err != nil {
		return nil, err
	}
	return answer(store.Head{})
}

// nothing is a transaction of it.
type nothing struct {
	store.Tx
	upload store.Upload
}

func (n *nothing) Head() store.Head                    { return store.Head{} }
func (n *nothing) TimeZone() string                    { return "UTC" }
func (n *nothing) PutEntries([]engine.Entry) error     { return nil }
func (n *nothing) Upload(string) (store.Upload, error) { return n.upload, nil }
func (n *nothing) PutUpload(u store.Upload) error      { n.upload = u; return nil }

// recorded is a stream of messages as they were on the wire.
type recorded struct {
	grpc.ServerStream
	ctx  context.Context
	wire [][]byte
}

func (r *recorded) Context() context.Context { return r.ctx }
func (r *recorded) SendMsg(any) error        { return nil }
func (r *recorded) RecvMsg(m any) error {
	if len(r.wire) == 0 {
		return io.EOF
	}
	next := r.wire[0]
	r.wire = r.wire[1:]
	return proto.Unmarshal(next, m.(proto.Message))
}

// BenchmarkBackfill is what an entry of an upload costs without network and store, in
// batches of 500: an op is an entry.
func BenchmarkBackfill(b *testing.B) {
	const batches, size = 20, 500
	r := rand.New(rand.NewPCG(1, 2))
	first, _ := engine.DayOf(2019, 3, 3)
	var entries []*pb.Entry
	for i := 0; len(entries) < batches*size; i++ {
		day := convert.DayToProto(first + engine.Day(i))
		entries = append(entries,
			&pb.Entry{Date: day, Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: math.Round(800+10*r.NormFloat64()) / 10, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}}},
			&pb.Entry{Date: day, Fact: &pb.Entry_Intake{Intake: &pb.Intake{
				Energy: &pb.Energy{Value: 2000 + float64(r.IntN(500)), Unit: pb.EnergyUnit_ENERGY_UNIT_KILOCALORIE}, ProteinG: proto.Float64(150)}}},
			&pb.Entry{Date: day, Fact: &pb.Entry_Activity{Activity: &pb.Activity{Steps: proto.Int32(8000 + r.Int32N(3000))}}},
			&pb.Entry{Date: day, Key: "squat-2", Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{
				Lift: "back-squat", Load: &pb.Mass{Value: 100, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 4 + r.Int32N(3)}}})
	}
	wire := make([][]byte, 0, batches+1)
	for i := range batches + 1 {
		m := opening()
		if i > 0 {
			m = batch(int32(i-1), entries[(i-1)*size:i*size]...)
		}
		raw, err := proto.Marshal(m)
		if err != nil {
			b.Fatal(err)
		}
		wire = append(wire, raw)
	}
	interceptors := chain.Chain{}.Stream()
	validated := interceptors[len(interceptors)-1]
	at := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	ctx := access.With(context.Background(), access.Principal{Tenant: "gym-1"})
	b.ReportAllocs()
	b.ResetTimer()
	for n := 0; n < b.N; n += batches * size {
		server := &logbook.Server{Store: &nowhere{tx: nothing{upload: store.Upload{ID: upload, SHA256: sha}}}, Now: func() time.Time { return at }, BatchTimeout: time.Minute}
		ctx, cancel := context.WithCancel(ctx)
		handler := func(_ any, ss grpc.ServerStream) error {
			return server.BackfillEntries(&grpc.GenericServerStream[pb.BackfillEntriesRequest, pb.BackfillEntriesResponse]{ServerStream: ss})
		}
		if err := validated(nil, &recorded{ctx: ctx, wire: wire}, nil, handler); err != nil {
			b.Fatal(err)
		}
		cancel()
	}
}
