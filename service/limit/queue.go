package limit

import (
	"slices"
	"time"
)

// waiter is work that waits for its answer: nil is a slot.
type waiter struct {
	Work
	arrived  uint64
	deadline time.Time // zero: none
	answer   chan error
}

// tenant is what one tenant has of the limiter.
type tenant struct {
	working, waiting int
	lines            [priorities][]*waiter // oldest first
}

// of returns a tenant, making it known.
func (l *Limiter) of(name string) *tenant {
	t := l.tenants[name]
	if t == nil {
		if t = l.spare; t == nil {
			t = &tenant{}
		}
		l.spare = nil
		l.tenants[name] = t
	}
	return t
}

// tidy forgets a tenant that has nothing here.
func (l *Limiter) tidy(name string, t *tenant) {
	if t.working == 0 && t.waiting == 0 {
		delete(l.tenants, name)
		l.spare = t
	}
}

func (l *Limiter) push(w *waiter) {
	l.arrived++
	w.arrived = l.arrived
	t := l.of(w.Tenant)
	t.lines[w.Priority] = append(t.lines[w.Priority], w)
	t.waiting++
	l.waiting++
}

// remove takes a waiter out; false when it waits no longer.
func (l *Limiter) remove(w *waiter) bool {
	t := l.tenants[w.Tenant]
	if t == nil {
		return false
	}
	i := slices.Index(t.lines[w.Priority], w)
	if i < 0 {
		return false
	}
	t.lines[w.Priority] = slices.Delete(t.lines[w.Priority], i, i+1)
	t.waiting--
	l.waiting--
	l.tidy(w.Tenant, t)
	return true
}

// next chooses who gets a slot: the highest priority; of those the tenant that
// has the fewest slots; of those who came first. While others wait, a tenant
// that has half of the slots gets no more. At least one waiter always may: two
// tenants that both have half leave no slot free.
func (l *Limiter) next() *waiter {
	crowd := 0
	for _, t := range l.tenants {
		if t.waiting > 0 {
			crowd++
		}
	}
	var best *waiter
	fewest := 0
	for _, t := range l.tenants {
		if t.waiting == 0 || (crowd > 1 && t.working >= (l.slots+1)/2) {
			continue
		}
		w := t.first()
		if best == nil || w.Priority < best.Priority ||
			(w.Priority == best.Priority && (t.working < fewest || (t.working == fewest && w.arrived < best.arrived))) {
			best, fewest = w, t.working
		}
	}
	return best
}

// first is the waiter that a tenant would have served first, last the one that
// it would miss least. Both are nil when none waits.
func (t *tenant) first() *waiter {
	for _, line := range t.lines {
		if len(line) > 0 {
			return line[0]
		}
	}
	return nil
}

func (t *tenant) last() *waiter {
	for _, line := range slices.Backward(t.lines[:]) {
		if len(line) > 0 {
			return line[len(line)-1]
		}
	}
	return nil
}

// makeRoom refuses one that waits in favour of w, and reports whether it did:
// one of the tenant that fills the queue most, if that has more than w's tenant
// would have; else one of lower priority than w.
func (l *Limiter) makeRoom(w Work) bool {
	mine := 0
	if t := l.tenants[w.Tenant]; t != nil {
		mine = t.waiting
	}
	var greedy, least *waiter
	most := mine + 1
	for _, t := range l.tenants {
		last := t.last()
		if last == nil {
			continue
		}
		if t.waiting > most || (greedy != nil && t.waiting == most && last.arrived > greedy.arrived) {
			greedy, most = last, t.waiting
		}
		if last.Priority > w.Priority && (least == nil || last.Priority > least.Priority ||
			(last.Priority == least.Priority && last.arrived > least.arrived)) {
			least = last
		}
	}
	victim := greedy
	if victim == nil {
		victim = least
	}
	if victim == nil {
		return false
	}
	l.remove(victim)
	l.refuse(victim, Displaced)
	return true
}
