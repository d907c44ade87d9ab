package sqlite

import "testing"

// A trainee gets another incarnation at the same revision.
func TestRestored(t *testing.T) {
	s, _ := newStore(t)
	before, err := s.Head(t.Context(), ada)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := s.Restored(t.Context()); err != nil || n != 1 {
		t.Fatalf("%d trainees, %v", n, err)
	}
	after, err := s.Head(t.Context(), ada)
	if err != nil || after.Incarnation == before.Incarnation || len(after.Incarnation) != 32 || after.Revision != before.Revision {
		t.Errorf("%+v after %+v, %v", after, before, err)
	}
}
