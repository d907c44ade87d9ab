package logbook

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
)

// TestAccepted_HoldsTheLastOfEachKey whether entries come in order, as they mostly do,
// or not, and counts the keys of each batch.
func TestAccepted_HoldsTheLastOfEachKey(t *testing.T) {
	inOrder := 0
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 1))
		var batches []received
		for range 1 + r.IntN(4) {
			var entries []*pb.Entry
			for range r.IntN(5) {
				entries = append(entries, &pb.Entry{Date: convert.DayToProto(engine.Day(r.IntN(4))), Key: []string{"", "a", "b"}[r.IntN(3)], Fact: &pb.Entry_PhotoSet{}})
				if r.IntN(2) == 0 {
					entries[len(entries)-1].Fact = &pb.Entry_Mark{Mark: &pb.Mark{}}
				}
			}
			batches = append(batches, received{req: &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: entries}}}})
		}
		if seed%2 == 0 { // what is sent in order
			var all []*pb.Entry
			for _, b := range batches {
				all = append(all, b.req.GetBatch().GetEntries()...)
			}
			slices.SortStableFunc(all, func(x, y *pb.Entry) int {
				a, _ := convert.EntryFromProto(x, 10)
				b, _ := convert.EntryFromProto(y, 10)
				if before(a.ID(), b.ID()) {
					return -1
				}
				if before(b.ID(), a.ID()) {
					return 1
				}
				return 0
			})
			for _, b := range batches {
				all = all[copy(b.req.GetBatch().GetEntries(), all):]
			}
		}
		in := newAccepted(10, batches)
		last := map[engine.ID]string{}
		n := 0
		for _, b := range batches {
			keys := map[engine.ID]bool{}
			for _, e := range b.req.GetBatch().GetEntries() {
				n++
				e.Note = fmt.Sprint(n)
				entry, err := convert.EntryFromProto(e, 10)
				if err != nil {
					t.Fatal(err)
				}
				keys[entry.ID()] = true
				last[entry.ID()] = entry.Note
			}
			count, refused, err := in.add(b)
			if err != nil || refused != nil || count != len(keys) {
				t.Fatalf("seed %d: of %d keys it counts %d: %v %v", seed, len(keys), count, refused, err)
			}
		}
		got := map[engine.ID]string{}
		for _, e := range in.entries {
			got[e.ID()] = e.Note
		}
		if len(in.entries) != len(last) || fmt.Sprint(got) != fmt.Sprint(last) {
			t.Fatalf("seed %d: holds %v, want %v", seed, in.entries, last)
		}
		if in.place == nil && n > 3 {
			inOrder++
		}
	}
	if inOrder < 50 {
		t.Errorf("only %d uploads came in order", inOrder)
	}
}

func TestGather_IsBounded(t *testing.T) {
	for _, c := range []struct{ waiting, entries, want int }{{0, 1, 1}, {3, 500, 4}, {20, 1, 8}, {20, 500, 8}, {20, 501, 8}, {20, 600, 7}, {20, 1000, 4}} {
		m := received{req: &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Entries: make([]*pb.Entry, c.entries)}}}}
		messages := make(chan received, c.waiting)
		for range c.waiting {
			messages <- m
		}
		got, err := gather(m, messages)
		if len(got) != c.want || len(messages) != c.waiting+1-c.want || err != nil {
			t.Errorf("of %d batches of %d entries it takes %d, and leaves %d: %v", c.waiting+1, c.entries, len(got), len(messages), err)
		}
	}
}
