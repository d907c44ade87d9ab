// Package convert is the only place where contract messages and engine values
// become each other, both ways. Nothing below the service layer knows a proto
// type; nothing above it knows how one is taken apart.
package convert

import (
	"regexp"
	"strconv"
	"strings"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// TraineeName returns a trainee's resource name.
func TraineeName(trainee string) string { return "trainees/" + trainee }

// PlanName returns a plan's resource name.
func PlanName(trainee, plan string) string { return TraineeName(trainee) + "/plans/" + plan }

// DecisionName returns a decision's resource name.
func DecisionName(trainee, plan, decision string) string {
	return PlanName(trainee, plan) + "/decisions/" + decision
}

// EntryName returns an entry's resource name, made from its natural key.
func EntryName(trainee string, id engine.ID) string {
	return TraineeName(trainee) + "/entries/" + id.Day.String() + "-" + id.Kind.String() + "-" + id.Key
}

// TraineeFrom takes a trainee's id out of a name or parent such as
// trainees/t1, trainees/t1/weightTrend or trainees/t1/plans/p1. The shape has
// been validated by the contract's own rules.
func TraineeFrom(name string) string { return segment(name, 1) }

// PlanFrom takes a plan's id out of a plan's name or a decision's parent.
func PlanFrom(name string) string { return segment(name, 3) }

// DecisionFrom takes a decision's id out of its name.
func DecisionFrom(name string) string { return segment(name, 5) }

func segment(name string, i int) string {
	parts := strings.Split(name, "/")
	if i >= len(parts) {
		return ""
	}
	return parts[i]
}

// EntryIDFrom takes the natural key out of an entry's name; field names the
// request field in the error.
func EntryIDFrom(name, field string) (engine.ID, error) {
	id := segment(name, 3)
	if len(id) > len("2026-03-01-") {
		day, err := engine.ParseDay(id[:10])
		rest := id[11:]
		for k := engine.KindWeighIn; err == nil && id[10] == '-' && k <= engine.KindMark; k++ {
			if key, ok := strings.CutPrefix(rest, k.String()+"-"); ok && key != "" {
				return engine.ID{Day: day, Kind: k, Key: key}, nil
			}
		}
	}
	return engine.ID{}, fault.InvalidField(field, "does not end in an entry id of the form 2026-03-01-weigh-in-1")
}

// Revision returns the opaque text of a head.
func Revision(h store.Head) string { return h.Incarnation + "-" + strconv.FormatInt(h.Revision, 10) }

var revision = regexp.MustCompile(`^([0-9A-Fa-f]{32})-([1-9][0-9]{0,18})$`)

// RevisionFrom reads the text of a head; field names it in the error.
func RevisionFrom(text, field string) (store.Head, error) {
	if m := revision.FindStringSubmatch(text); m != nil {
		if n, err := strconv.ParseInt(m[2], 10, 64); err == nil { // else it is too large to be one of ours
			return store.Head{Incarnation: m[1], Revision: n}, nil
		}
	}
	return store.Head{}, fault.InvalidField(field, "is not a revision that an answer carried")
}

var traineeName = regexp.MustCompile(`^trainees/([a-z0-9][a-z0-9-]{0,62})$`)

// TraineeIDFrom takes the id out of a trainee's own name, which the contract
// cannot validate inside a resource; field names it in the error.
func TraineeIDFrom(name, field string) (string, error) {
	m := traineeName.FindStringSubmatch(name)
	if m == nil {
		return "", fault.InvalidField(field, "must be of the form trainees/{trainee}")
	}
	return m[1], nil
}

var planName = regexp.MustCompile(`^trainees/([a-z0-9][a-z0-9-]{0,62})/plans/([a-z0-9][a-z0-9-]{0,62})$`)

// PlanIDsFrom takes the trainee's and the plan's id out of a plan's own name.
func PlanIDsFrom(name, field string) (trainee, plan string, err error) {
	m := planName.FindStringSubmatch(name)
	if m == nil {
		return "", "", fault.InvalidField(field, "must be of the form trainees/{trainee}/plans/{plan}")
	}
	return m[1], m[2], nil
}
