package chain_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/chain"
)

// TestChain_AHeldAnswerLeavesWithItsForms, any other as it is.
func TestChain_AHeldAnswerLeavesWithItsForms(t *testing.T) {
	held := call.NewEncoded(&pb.Recommendation{Headline: "Hold."})
	for _, c := range []struct {
		name   string
		told   bool
		answer proto.Message
		err    error
		want   any
	}{
		{"held", true, held.Message, nil, held},
		{"not told", false, held.Message, nil, held.Message},
		{"another", true, &pb.Trainee{}, nil, nil},
		{"an error", true, nil, errors.New("broken"), nil},
	} {
		ch := newChain(t)
		ctx := ch.as([]string{"recommendation.read"})
		got, err := ch.unary(ctx, pb.PhaseService_Recommend_FullMethodName, &pb.RecommendRequest{Name: "trainees/a/plans/b"},
			func(ctx context.Context, _ any) (any, error) {
				if c.told {
					call.TellHeld(ctx, held)
				}
				return c.answer, c.err
			})
		if c.want == nil {
			c.want = c.answer
		}
		if (err == nil) != (c.err == nil) || (err == nil && got != c.want) {
			t.Errorf("%s: %v, %v", c.name, got, err)
		}
	}
}

// TestCodec_SendsTheFormThatIsHeld as gRPC's codec would make it, and keeps its
// bytes from the pool of buffers, where the next call would write to them.
func TestCodec_SendsTheFormThatIsHeld(t *testing.T) {
	const pooled = 16 << 10 // the pool keeps only buffers of its own sizes
	m := &pb.Recommendation{}
	for n := pooled; proto.Size(m) != pooled; n-- {
		m.Headline = strings.Repeat("x", n)
	}
	held := call.NewEncoded(m)
	wire, err := held.Wire()
	if err != nil || cap(wire) != pooled {
		t.Fatalf("%d bytes, room for %d, %v", len(wire), cap(wire), err)
	}
	before := bytes.Clone(wire)
	plain, err := chain.Codec().Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		sent, err := chain.Codec().Marshal(held)
		if err != nil || !bytes.Equal(sent.Materialize(), plain.Materialize()) {
			t.Fatalf("%d bytes, %v, want %d", sent.Len(), err, plain.Len())
		}
		if &sent[0].ReadOnlyData()[0] != &wire[0] {
			t.Error("it was made anew")
		}
		sent.Free()
		reused := mem.DefaultBufferPool().Get(len(wire))
		for i := range *reused {
			(*reused)[i] = 'y'
		}
	}
	if !bytes.Equal(wire, before) {
		t.Error("what is held was written to")
	}
	if _, err := chain.Codec().Marshal(call.NewEncoded(&pb.Recommendation{Headline: "\xff"})); err == nil {
		t.Error("what cannot be marshalled is sent")
	}
}
