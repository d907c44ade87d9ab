package window

import (
	"cmp"
	"slices"
)

// Where a writer stands.
const (
	writerIdle = iota
	writerCommitted
	writerToldRedis
	writerDone
)

// Where a load ahead stands.
const (
	aheadNone = iota
	aheadBegun
	aheadHasRows
	aheadDone
)

// Where a reader stands.
const (
	readerIdle     = iota
	readerHasToken // and has not begun
	readerAsking   // for the head and Redis, in any order
	readerMissed   // it has to read the store
	readerHasRows  // torn: and not the head
	readerLoaded   // and has not answered
	readerDone
)

// kinds are sorts of faults.
type kinds uint8

const (
	forgets   kinds = 1 << iota // Redis evicts, or is flushed
	away                        // a command does not come through
	tardy                       // a command comes through later than was waited for
	dies                        // a replica dies after a commit, and the caller retries
	failsOver                   // Redis goes back to what it once held
	reborn                      // the trainee is erased and made again

	anyKind = forgets | away | tardy | dies | failsOver | reborn
)

// may reports whether a fault of a kind may happen now.
func (x *explorer) may(s *state, k kinds) bool { return s.faults > 0 && x.kinds&k != 0 }

// step goes on in every state that is one step away, and every state must have
// one unless all is done.
func (x *explorer) step(s state) {
	before := x.steps
	defer func() {
		if x.steps == before && x.verdict == "" && !s.allDone() {
			x.violated("stuck")
		}
	}()
	for i := range s.writers {
		x.writer(s, i)
	}
	x.ahead(s)
	for i := range s.readers {
		if x.design.trusts {
			x.trustingReader(s, i)
		} else {
			x.checkingReader(s, i)
		}
	}
	for i, c := range s.late { // what was on its way arrives
		if c.op != nop && (i == 0 || s.late[i-1] != c) {
			n := s
			n.late[i] = command{}
			n.sortLate()
			n.apply(c)
			x.to(n, "arrives", i)
		}
	}
	x.fault(s)
}

func (s *state) allDone() bool {
	for _, w := range s.writers {
		if w.at != writerDone || w.ahead != (load{}) {
			return false
		}
	}
	for _, r := range s.readers {
		if r.at != readerDone {
			return false
		}
	}
	return true
}

// fault is what befalls Redis and the trainee; see also tell, writer and the readers.
func (x *explorer) fault(s state) {
	less := s
	less.faults--
	if x.may(&s, forgets) && s.redis != (entry{}) {
		n := less
		n.redis = entry{}
		n.remember()
		x.to(n, "evict", 0)
	}
	if x.may(&s, failsOver) {
		for i, old := range s.past {
			if old != s.redis {
				n := less
				n.redis = old
				n.remember()
				x.to(n, "fail over to what lagged", i)
			}
		}
	}
	if x.may(&s, reborn) {
		n := less
		if n.db.rev = 1; !x.design.reused {
			n.db.inc++
		}
		n.data++
		n.acked, n.ackedAt = n.data, n.db
		n.remember()
		x.to(n, "erase and create", 0)
	}
}

func (x *explorer) writer(s state, i int) {
	w := &s.writers[i]
	switch w.at {
	case writerIdle:
		s.db.rev++
		s.data++
		w.data, w.label, w.at = s.data, s.db, writerCommitted
		x.to(s, "commit", i)
	case writerCommitted:
		if x.design.onWrite == nop {
			w.at = writerToldRedis
			x.writer(s, i)
			return
		}
		w.at = writerToldRedis
		x.tell(s, command{x.design.onWrite, entry{on: true, label: s.labelOf(w.data), data: w.data}}, "tell Redis", i)
		if x.may(&s, dies) { // another replica answers the retry from the record
			s.faults--
			s.remember()
			x.to(s, "die, and be asked again elsewhere", i)
		}
	case writerToldRedis:
		if w.data > s.acked {
			s.acked, s.ackedAt = w.data, w.label
		}
		if w.ahead.at == aheadDone {
			w.ahead = load{}
		}
		*w = writer{at: writerDone, ahead: w.ahead}
		x.to(s, "acknowledge", i)
	}
}

// ahead is what a writer's process loads ahead, or not: it may have too much to do.
func (x *explorer) ahead(s state) {
	const i = 0
	w := &s.writers[i]
	switch w.ahead.at {
	case aheadNone:
		switch {
		case x.design.ahead == beforeCommit && w.at == writerIdle:
			w.ahead = load{at: aheadBegun, head: label{s.db.inc, s.db.rev + 1}}
		case x.design.ahead == onceCommitted && w.at == writerCommitted:
			w.ahead = load{at: aheadBegun, head: w.label}
		default:
			return
		}
		x.to(s, "begin a load ahead", i)
	case aheadBegun:
		w.ahead.at, w.ahead.rows = aheadHasRows, entry{on: true, label: s.db, data: s.data}
		x.to(s, "load ahead", i)
	case aheadHasRows:
		rows := w.ahead.rows
		if w.ahead = (load{at: aheadDone}); w.at == writerDone {
			w.ahead = load{}
		}
		if s.send(command{x.design.fill, rows}) {
			x.to(s, "fill with what was loaded ahead", i)
		}
	}
}

// labelOf is the label of a commit. Of the designs that write, none is told apart
// by it: it is their version.
func (s *state) labelOf(d content) label { return label{rev: d + 1} }

// tell sends a command: it is there, or it is lost, or it is late.
func (x *explorer) tell(s state, c command, name string, i int) {
	n := s
	n.apply(c)
	x.to(n, name, i)
	n, ok := x.lost(s)
	if ok {
		x.to(n, name+" in vain", i)
	}
	n, ok = x.delayed(s, c)
	if ok {
		x.to(n, name+" late", i)
	}
}

// lost is a command that does not come through.
func (x *explorer) lost(s state) (state, bool) {
	if !x.may(&s, away) {
		return s, false
	}
	s.faults--
	s.remember()
	return s, true
}

// delayed is a command that comes through later.
func (x *explorer) delayed(s state, c command) (state, bool) {
	if !x.may(&s, tardy) || !s.send(c) {
		return s, false
	}
	s.faults--
	s.remember()
	return s, true
}

// send puts a command on its way.
func (s *state) send(c command) bool {
	if s.late[0] != (command{}) {
		return false // full
	}
	s.late[0] = c
	s.sortLate()
	return true
}

// sortLate makes one state of those that differ in the order of sending.
func (s *state) sortLate() {
	slices.SortFunc(s.late[:], func(a, b command) int {
		return cmp.Or(cmp.Compare(a.op, b.op), cmp.Compare(a.entry.data, b.entry.data), cmp.Compare(a.entry.label.inc, b.entry.label.inc),
			cmp.Compare(a.entry.label.rev, b.entry.label.rev), cmp.Compare(a.entry.lease, b.entry.lease))
	})
}

// apply is Redis.
func (s *state) apply(c command) {
	switch e := c.entry; c.op {
	case del:
		s.redis = entry{}
	case set:
		s.redis = entry{on: true, label: e.label, data: e.data}
	case setIfLater:
		if !s.redis.on || s.redis.data < e.data {
			s.redis = entry{on: true, label: e.label, data: e.data}
		}
	case setLeased:
		if e.lease != 0 && s.redis.lease == e.lease {
			s.redis = entry{on: true, label: e.label, data: e.data}
		}
	}
	s.remember()
}

// remember keeps what Redis has held as long as a fault may bring it back.
func (s *state) remember() {
	if s.faults == 0 {
		s.past = [6]entry{}
		return
	}
	if !s.redis.on || slices.Contains(s.past[:], s.redis) {
		return // the empty one is always there, as a zero or by eviction
	}
	if s.past[len(s.past)-1] != (entry{}) {
		panic("the model has no room for what Redis has held")
	}
	copy(s.past[1:], s.past[:len(s.past)-1])
	s.past[0] = s.redis
}

func (x *explorer) begin(s *state, i int) {
	r := &s.readers[i]
	r.at, r.acked, r.shown = readerAsking, s.acked, s.shown
}

// finish answers, which is what everything is about.
func (x *explorer) finish(s state, i int, data content, name string) {
	switch r := s.readers[i]; {
	case data < r.acked:
		x.path = append(x.path, name)
		x.violated("older than an acknowledged write")
	case data < r.shown:
		x.path = append(x.path, name)
		x.violated("older than what was shown")
	default:
		done := reader{at: readerDone}
		if other := s.readers[1-i]; int(other.batch) == i+1 && !other.hasHead { // who joined still has to hear
			done.sent, done.batchLabel = r.sent, r.batchLabel
		}
		s.readers[i] = done
		s.shown = max(s.shown, data)
		x.to(s, name, i)
	}
}

// trustingReader serves what Redis has.
func (x *explorer) trustingReader(s state, i int) {
	r := &s.readers[i]
	switch r.at {
	case readerIdle:
		x.begin(&s, i)
		x.to(s, "begin", i)
	case readerAsking:
		if n, ok := x.lost(s); ok {
			n.readers[i].at = readerMissed
			x.to(n, "ask Redis in vain", i)
		}
		if s.redis.on {
			x.finish(s, i, s.redis.data, "hit")
			return
		}
		if x.design.fill == setLeased && s.redis.lease == 0 {
			s.leases++
			s.redis.lease = s.leases
			r.rows.lease = s.leases
		}
		r.at = readerMissed
		x.to(s, "miss", i)
	case readerMissed:
		r.rows.label, r.rows.data = s.labelOf(s.data), s.data
		r.at = readerLoaded
		x.to(s, "load", i)
	case readerLoaded:
		data, c := r.rows.data, command{x.design.fill, r.rows}
		n := s
		n.apply(c)
		x.finish(n, i, data, "fill and answer")
		if n, ok := x.lost(s); ok {
			x.finish(n, i, data, "fill in vain and answer")
		}
		if n, ok := x.delayed(s, c); ok {
			x.finish(n, i, data, "fill late and answer")
		}
	}
}

// checkingReader serves what Redis has under the head that the store says. It
// asks both in any order, and shares statements and loads with the other reader.
func (x *explorer) checkingReader(s state, i int) {
	r := &s.readers[i]
	switch r.at {
	case readerIdle:
		if x.design.token != nil && i == 1 {
			r.at, r.acked, r.token, r.hasToken = readerHasToken, s.acked, s.ackedAt, true
			x.to(s, "take a token", i)
			return
		}
		x.strongly(s, i)
	case readerHasToken:
		x.withToken(s, i)
	case readerAsking:
		x.asking(s, i)
	case readerMissed:
		x.missed(s, i)
	case readerHasRows:
		r.rows.label = s.db
		r.at = readerLoaded
		x.to(s, "read the head", i)
	case readerLoaded:
		// Filling is nobody's fault: it happens behind the answer, at any time.
		rows := r.rows
		if s.send(command{x.design.fill, entry{on: true, label: rows.label, data: rows.data}}) {
			x.finish(s, i, rows.data, "answer")
		}
	}
}

// strongly begins a read that asks the store for the present head.
func (x *explorer) strongly(s state, i int) {
	r := &s.readers[i]
	x.begin(&s, i)
	r.batch = uint8(i) + 1
	x.to(s, "begin a batch", i)
	other := &s.readers[1-i]
	if other.at == readerAsking && int(other.batch) == 2-i && (!other.sent || (x.design.joinsSentBatch && !other.hasHead)) {
		r.batch = other.batch
		x.to(s, "join the batch", i)
	}
}

// withToken serves what Redis has when it reaches the token, and else begins a
// read as any other.
func (x *explorer) withToken(s state, i int) {
	if s.redis.on && x.design.token(s.redis.label.head(), s.readers[i].token.head()) {
		x.finish(s, i, s.redis.data, "hit with a token")
		return
	}
	s.readers[i] = reader{}
	x.strongly(s, i)
}

func (x *explorer) asking(s state, i int) {
	r := s.readers[i]
	own := int(r.batch) == i+1
	if own && !r.sent { // the statement goes and reads
		n := s
		n.readers[i].sent, n.readers[i].batchLabel = true, s.db
		x.to(n, "read heads", i)
	}
	if from := s.readers[r.batch-1]; !r.hasHead && from.sent {
		n := s
		n.readers[i].hasHead, n.readers[i].head = true, from.batchLabel
		x.decide(n, i, "head")
	}
	if !r.asked {
		n := s
		n.readers[i].asked, n.readers[i].got = true, s.redis
		x.decide(n, i, "ask Redis")
		if n, ok := x.lost(s); ok {
			n.readers[i].asked = true
			x.decide(n, i, "ask Redis in vain")
		}
	}
}

// decide goes by the rule of the code once both answers are there.
func (x *explorer) decide(s state, i int, name string) {
	r := &s.readers[i]
	if !r.hasHead || !r.asked {
		x.to(s, name, i)
		return
	}
	if r.got.on && serves(r.got.label.head(), r.head.head()) {
		x.finish(s, i, r.got.data, name+": hit")
		return
	}
	r.at = readerMissed
	x.to(s, name+": miss", i)
}

func (x *explorer) missed(s state, i int) {
	r := &s.readers[i]
	// A load that is under way has read the store already, at worst.
	if other := s.readers[1-i]; other.at == readerLoaded && (x.design.joinsAnyLoad || other.head == r.head) {
		x.finish(s, i, other.rows.data, "join the load")
	}
	for _, w := range s.writers {
		if w.ahead.at == aheadHasRows && (x.design.joinsAnyLoad || w.ahead.head == r.head) {
			x.finish(s, i, w.ahead.rows.data, "join the load ahead")
		}
	}
	r.rows = entry{on: true, data: s.data}
	if x.design.torn {
		r.at = readerHasRows
		x.to(s, "read the rows", i)
		return
	}
	r.rows.label = s.db
	r.at = readerLoaded
	x.to(s, "load", i)
}
