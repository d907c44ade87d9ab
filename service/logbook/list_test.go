package logbook_test

import (
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestListEntries_PagesHoldEachEntryOnce, in order, and the last page says that
// it is the last, also when it is full.
func TestListEntries_PagesHoldEachEntryOnce(t *testing.T) {
	b := newBook(t)
	for day := 1; day <= 6; day++ {
		b.edit(photos(day, "a"))
	}
	all := b.log()
	for size, pages := range map[int32]int{1: 6, 2: 3, 4: 2, 5: 2, 6: 1, 7: 1} {
		req := &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: size}
		var got []string
		read := 0
		for read < 10 {
			out, err := b.server.ListEntries(b.ctx(), req)
			if err != nil {
				t.Fatal(err)
			}
			read++
			for _, e := range out.GetEntries() {
				got = append(got, strings.TrimPrefix(e.GetName(), "trainees/t1/entries/")+" "+e.GetNote())
			}
			if req.PageToken = out.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		if strings.Join(got, ", ") != all || read != pages {
			t.Errorf("size %d: %d pages of %q, want %d of %q", size, read, got, pages, all)
		}
	}
}

func TestListEntries_DaysAreInclusive(t *testing.T) {
	b := newBook(t)
	for day := 1; day <= 4; day++ {
		b.edit(photos(day, "a"))
	}
	out, err := b.server.ListEntries(b.ctx(), &pb.ListEntriesRequest{
		Parent: "trainees/t1", StartDate: &date.Date{Year: 2026, Month: 2, Day: 2}, EndDate: &date.Date{Year: 2026, Month: 2, Day: 3},
	})
	if err != nil || len(out.GetEntries()) != 2 || out.GetEntries()[0].GetDate().GetDay() != 2 || out.GetEntries()[1].GetDate().GetDay() != 3 {
		t.Errorf("%v, %v", out, err)
	}
}
