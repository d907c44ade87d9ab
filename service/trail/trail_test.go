package trail

import (
	"regexp"
	"testing"
	"time"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

var now = time.Date(2026, 3, 2, 12, 0, 0, 123_456_789, time.FixedZone("", 3600))

func TestOf_NamesTheCaller(t *testing.T) {
	ctx := access.With(t.Context(), access.Principal{Tenant: "gym", Actor: "apiKeys/k"})
	got := Of(ctx, "CreatePlan", "trainees/t/plans/p", now)
	want := store.AuditRecord{ID: got.ID, At: now.UTC().Truncate(time.Millisecond), Actor: "apiKeys/k", Method: "CreatePlan", Resource: "trainees/t/plans/p"}
	if got != want || len(got.ID) != 26 || got.ID < store.FirstAuditID(now) {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// A name is the same each time, is of one trainee of one tenant and one pepper, and
// does not hold the id.
func TestErased_NamesOneTrainee(t *testing.T) {
	seen := map[string]bool{}
	for _, pepper := range []string{"a", "b"} {
		n, err := NewNames([]byte(pepper))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []store.Scope{{Tenant: "gym", Trainee: "ada"}, {Tenant: "gym", Trainee: "bo"}, {Tenant: "gyma", Trainee: "da"}} {
			name := n.Erased(s)
			if seen[name] || name != n.Erased(s) || !regexp.MustCompile(`^trainees/[0-9a-f]{16}$`).MatchString(name) {
				t.Errorf("%v is %s", s, name)
			}
			seen[name] = true
		}
	}
}
