package call_test

import (
	"bytes"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
)

// TestEncoded_FormsAreMadeOnceAndOfTheMessage: whoever asks, all get the same bytes.
func TestEncoded_FormsAreMadeOnceAndOfTheMessage(t *testing.T) {
	m := &pb.Recommendation{Plan: "trainees/a/plans/b", Headline: "Hold.", PlanDay: 11}
	e := call.NewEncoded(m)
	first := make(chan [2]*byte, 8)
	var wg sync.WaitGroup
	for range cap(first) {
		wg.Go(func() {
			wire, err := e.Wire()
			if back := (&pb.Recommendation{}); err != nil || proto.Unmarshal(wire, back) != nil || !proto.Equal(back, m) {
				t.Errorf("wire %x, %v", wire, err)
			}
			got, err := e.JSON()
			if want, _ := call.JSON.Marshal(m); err != nil || !bytes.Equal(got, want) {
				t.Errorf("JSON %s, %v, want %s", got, err, want)
			}
			first <- [2]*byte{&wire[0], &got[0]}
		})
	}
	wg.Wait()
	same := <-first
	for range cap(first) - 1 {
		if <-first != same {
			t.Error("a form was made twice")
		}
	}
	if !proto.Equal(e, m) {
		t.Errorf("to others it is %v", e.Message)
	}
}

// TestEncoded_WhatCannotBeMarshalled: the error is the marshaller's, each time.
func TestEncoded_WhatCannotBeMarshalled(t *testing.T) {
	e := call.NewEncoded(&pb.Recommendation{Headline: "\xff"})
	for range 2 {
		if b, err := e.Wire(); err == nil {
			t.Errorf("wire %x", b)
		}
		if b, err := e.JSON(); err == nil {
			t.Errorf("JSON %s", b)
		}
	}
}

// TestHeld_OnlyTheVeryAnswerGetsItsForms: another one, though it be equal, goes out
// as it is.
func TestHeld_OnlyTheVeryAnswerGetsItsForms(t *testing.T) {
	m := &pb.Recommendation{Headline: "Hold."}
	e := call.NewEncoded(m)
	call.TellHeld(t.Context(), e) // to nobody
	ctx, held := call.WithHeld(t.Context())
	if held.Of(m) != any(m) {
		t.Error("nothing was told, and something is held")
	}
	call.TellHeld(ctx, e)
	if held.Of(m) != any(e) {
		t.Error("what was told is not held")
	}
	for _, other := range []any{nil, (*pb.Recommendation)(nil), proto.Clone(m), &pb.ForecastResponse{}, "Hold."} {
		if got := held.Of(other); got != other {
			t.Errorf("%v becomes %v", other, got)
		}
	}
}
