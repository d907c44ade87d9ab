package logcsv

import (
	"bytes"
	"testing"

	"buf.build/go/protovalidate"
)

// Whatever the bytes: no panic, and what is kept obeys the contract, has a line
// of the file and a natural key of its own.
func FuzzRead(f *testing.F) {
	f.Add([]byte("date,weight_kg\n2025-01-01,80\n"), "t-a")
	f.Add([]byte("\ufefftrainee,date,lift,load_lb,reps,marks,refeed_kcal\r\nt-a,2025-01-01,squat,100,5,refeed;travel,2500\r\n"), "")
	f.Add([]byte("trainee,date,intake_kj,partial,note\n\"t-a\",2025-01-01,8000,yes,\"a\nb\"\n"), "")
	f.Add([]byte("date,sleep,body_fat_pct,body_fat_method\n2025-02-30,6,20,dxa\n2025-02-28,5,20,dxa\n"), "t-a")
	f.Fuzz(func(t *testing.T, text []byte, trainee string) {
		l, err := Read(bytes.NewReader(text), trainee)
		if err != nil {
			if l != nil {
				t.Fatal("a log beside an error")
			}
			return
		}
		lines := bytes.Count(text, []byte("\n")) + 1
		for _, p := range l.Refused {
			if p.Line < 2 || p.Line > lines || p.Text == "" {
				t.Fatalf("problem %+v in a file of %d lines", p, lines)
			}
		}
		for _, part := range l.Parts {
			if !traineeShape.MatchString(part.Trainee) || len(part.Items) == 0 {
				t.Fatalf("part %q of %d items", part.Trainee, len(part.Items))
			}
			seen := map[string]bool{}
			for _, it := range part.Items {
				if err := protovalidate.Validate(it.Entry); err != nil {
					t.Fatalf("line %d: %v", it.Line, err)
				}
				k := it.Entry.GetDate().String() + factPrefix(it.Entry) + it.Entry.GetKey()
				if seen[k] || it.Line < 2 || it.Line > lines {
					t.Fatalf("line %d: %s twice or out of the file", it.Line, k)
				}
				seen[k] = true
			}
		}
	})
}
