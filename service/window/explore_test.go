package window

import (
	"hash/maphash"
	"strconv"
	"testing"

	"example.com/steelyard/service/store"
)

// This file explores every interleaving of a few writers, readers and faults
// around one trainee, one store and one Redis, for the design of this package
// and for some that look right and are not. The second sort shows that the
// exploration would see a mistake in the first. It is exhaustive within its
// bounds and no proof beyond them; explore_steps_test.go has the steps.

// label is a head in the model: an incarnation and a revision.
type label struct{ inc, rev uint8 }

// modelHeads are the heads that labels stand for, to ask the rule of the code.
var modelHeads = func() (out [4][8]store.Head) {
	for inc := range out {
		for rev := range out[inc] {
			out[inc][rev] = store.Head{Incarnation: strconv.Itoa(inc), Revision: int64(rev)}
		}
	}
	return out
}()

func (l label) head() store.Head { return modelHeads[l.inc][l.rev] }

// content is what was committed: the n-th commit's. The first state is 1.
type content = uint8

// entry is what lies in Redis, or is on its way there.
type entry struct {
	on    bool
	label label
	data  content
	lease uint8 // the token that may fill it, or that a fill has; 0: none
}

// command is a write to Redis.
type command struct {
	op    op
	entry entry
}

type op uint8

const (
	nop op = iota
	set
	setIfLater // versioned
	setLeased  // only with the lease that is out
	del
)

// design is what is explored.
type design struct {
	name string
	// onWrite is what a writer does to Redis between commit and answer.
	onWrite op
	// fill is what a reader does that had to read the store.
	fill op
	// trusts serves what Redis has; else only under the head that the store says.
	trusts bool
	// torn reads the rows and then the head in two statements.
	torn bool
	// reused starts the counter again for an id that was erased, without an incarnation.
	reused bool
	// joinsAnyLoad shares the load in flight whatever head it was begun for.
	joinsAnyLoad bool
	// joinsSentBatch shares a statement for heads that is in flight.
	joinsSentBatch bool
	// ahead is when the first writer begins to load the window that its write makes;
	// 0: never. The other writes elsewhere.
	ahead uint8
	// token is the rule by which the second reader, who holds a head from a write's
	// answer, takes what Redis has without asking the store; nil: it asks as the
	// first. Which heads its process has seen of late is not modelled: any that was
	// ever present may be one.
	token func(bagged, token store.Head) bool
}

// When a writer loads ahead.
const (
	onceCommitted = 1 + iota
	beforeCommit  // as soon as it knows which head it will make
)

// state is everything. It is compared and hashed as a whole.
type state struct {
	db      label
	data    content
	redis   entry
	leases  uint8
	past    [6]entry   // what Redis has held, while it may come back
	late    [4]command // sent, and not there yet
	acked   content
	ackedAt label // the head that its writer was answered
	shown   content
	faults  uint8 // left
	writers [2]writer
	readers [2]reader
}

type writer struct {
	at    uint8
	data  content
	label label
	ahead load
}

// load is a load that a writer has begun, for the head that it makes.
type load struct {
	at   uint8
	head label
	rows entry
}

type reader struct {
	at         uint8
	acked      content // when it began; of a token, what it stands for
	token      label
	hasToken   bool
	shown      content
	batch      uint8 // 1 more than the reader who began it
	sent       bool  // the batch that this one began has read
	batchLabel label
	head       label
	hasHead    bool
	asked      bool // Redis has answered
	got        entry
	rows       entry // what the store gave
}

// explorer walks depth first; the path is the trace of a violation.
type explorer struct {
	design  design
	kinds   kinds
	steps   int
	seed    maphash.Seed
	seen    map[uint64]struct{}
	limit   int
	path    []string
	trace   []string // of the first violation
	verdict string
}

// explore returns the first violation that it comes to and its trace, and how
// many states there are.
func explore(t *testing.T, d design, writers, readers int, faults uint8, of kinds) (verdict string, trace []string, states int) {
	t.Helper()
	x := &explorer{design: d, kinds: of, seed: maphash.MakeSeed(), seen: map[uint64]struct{}{}, limit: 6_000_000}
	first := label{rev: 2}
	for _, filled := range []bool{false, true} {
		s := state{db: first, data: 1, acked: 1, ackedAt: first, shown: 1, faults: faults}
		for i := writers; i < len(s.writers); i++ {
			s.writers[i].at = writerDone
		}
		for i := readers; i < len(s.readers); i++ {
			s.readers[i].at = readerDone
		}
		if filled {
			s.redis = entry{on: true, label: first, data: 1}
		}
		s.remember()
		x.visit(s)
	}
	if len(x.seen) > x.limit {
		t.Fatalf("%s: over %d states", d.name, x.limit)
	}
	return x.verdict, x.trace, len(x.seen)
}

func (x *explorer) visit(s state) {
	if x.verdict != "" || len(x.seen) > x.limit {
		return
	}
	h := maphash.Comparable(x.seed, s)
	if _, ok := x.seen[h]; ok {
		return
	}
	x.seen[h] = struct{}{}
	x.step(s)
}

// to goes on in a state that is one step away.
func (x *explorer) to(s state, name string, who int) {
	x.steps++
	x.path = append(x.path, name+" "+strconv.Itoa(who))
	x.visit(s)
	x.path = x.path[:len(x.path)-1]
}

func (x *explorer) violated(what string) {
	if x.verdict == "" {
		x.verdict, x.trace = what, append([]string{}, x.path...)
	}
}

// ours is the design of this package.
var ours = design{name: "the head's label, compared", fill: set}

// TestProtocol_AnyInterleaving: no read is older than an acknowledged write or
// than what another read has shown.
func TestProtocol_AnyInterleaving(t *testing.T) {
	for _, bounds := range []struct {
		writers, readers int
		faults           uint8
	}{{2, 2, 0}, {2, 2, 1}, {2, 1, 2}, {2, 2, 2}} {
		if testing.Short() && bounds.faults > 1 {
			continue
		}
		verdict, trace, states := explore(t, ours, bounds.writers, bounds.readers, bounds.faults, anyKind)
		t.Logf("%d writers, %d readers, %d faults: %d states", bounds.writers, bounds.readers, bounds.faults, states)
		if verdict != "" {
			t.Errorf("%s: %q", verdict, trace)
		}
	}
}

// TestProtocol_LoadsAhead: a writer who loads what its write makes, while the other
// writes too, spoils nothing for anybody.
func TestProtocol_LoadsAhead(t *testing.T) {
	withLoads := ours
	withLoads.ahead = onceCommitted
	for _, bounds := range []struct {
		readers int
		faults  uint8
	}{{2, 0}, {1, 1}, {2, 1}} {
		if testing.Short() && bounds.readers+int(bounds.faults) > 2 {
			continue
		}
		verdict, trace, states := explore(t, withLoads, 2, bounds.readers, bounds.faults, anyKind)
		t.Logf("2 writers, %d readers, %d faults: %d states", bounds.readers, bounds.faults, states)
		if verdict != "" {
			t.Errorf("%s: %q", verdict, trace)
		}
	}
}

// TestProtocol_ATokenIsNeverMissed: a reader with a token beside one without gets
// nothing older than the token, and spoils nothing for the other.
func TestProtocol_ATokenIsNeverMissed(t *testing.T) {
	withToken := ours
	withToken.token = reaches
	for faults := range uint8(2) {
		verdict, trace, states := explore(t, withToken, 2, 2, faults, anyKind)
		t.Logf("%d faults: %d states", faults, states)
		if verdict != "" {
			t.Errorf("%s: %q", verdict, trace)
		}
	}
}

// TestProtocol_WrongDesignsAreFound: each one breaks by exactly the single faults
// that are named, and those of which none is named break without any. The
// fault-free column of the others shows why a test without faults proves nothing.
func TestProtocol_WrongDesignsAreFound(t *testing.T) {
	for _, c := range []struct {
		design
		breaks kinds
		always bool
	}{
		{design: design{name: "delete on write", onWrite: del, fill: set, trusts: true}, always: true},
		{design: design{name: "versioned set", onWrite: setIfLater, fill: setIfLater, trusts: true}, breaks: forgets | away | tardy | dies | failsOver | reborn},
		{design: design{name: "lease", onWrite: del, fill: setLeased, trusts: true}, breaks: away | tardy | dies | failsOver | reborn},
		{design: design{name: "rows, then the revision", fill: set, torn: true}, always: true},
		{design: design{name: "reused counter", fill: set, reused: true}, breaks: reborn},
		{design: design{name: "one load a trainee", fill: set, joinsAnyLoad: true}, always: true},
		{design: design{name: "join a batch that was sent", fill: set, joinsSentBatch: true}, always: true},
		{design: design{name: "load ahead of the commit", fill: set, ahead: beforeCommit}, always: true},
		{design: design{name: "a token for any incarnation", fill: set, token: func(b, t store.Head) bool { return b.Revision >= t.Revision }}, breaks: reborn},
		{design: design{name: "a token for any revision", fill: set, token: func(b, t store.Head) bool { return b.Incarnation == t.Incarnation }}, always: true},
	} {
		verdict, trace, states := explore(t, c.design, 2, 2, 0, 0)
		t.Logf("%s without faults: %d states, %q: %q", c.name, states, verdict, trace)
		if (verdict != "") != c.always || verdict == "stuck" {
			t.Errorf("%s without faults: %q", c.name, verdict)
		}
		for k := kinds(1); k <= anyKind && !c.always; k <<= 1 {
			verdict, trace, states := explore(t, c.design, 2, 2, 1, k)
			t.Logf("%s, fault %#x: %d states, %q: %q", c.name, k, states, verdict, trace)
			if (verdict != "") != (c.breaks&k != 0) || verdict == "stuck" {
				t.Errorf("%s with fault %#x: %q", c.name, k, verdict)
			}
		}
	}
}
