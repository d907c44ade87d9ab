package postgres

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// Each write leaves its trainee to be done. The row is mostly there already when
	// there are many writes.
	markStale = `INSERT INTO due_stale (tenant, trainee) VALUES ($1, $2) ON CONFLICT DO NOTHING`

	// Who is left to do is looked for over all tenants, in a transaction that says so.
	setUpkeep   = `SELECT set_config('steelyard.upkeep', 'on', true)`
	selectStale = `SELECT tenant, trainee FROM due_stale LIMIT $1`

	selectStaleOf = `SELECT trainee FROM due_stale WHERE tenant = $1 AND trainee > $2 ORDER BY trainee LIMIT $3`

	// Who has the trainee's row may replace its talks: no write is under way then, and
	// the next one leaves it to be done again.
	lockStale = `SELECT t.trainee, t.profile FROM due_stale s JOIN trainee t USING (tenant, trainee)
WHERE s.tenant = $1 AND s.trainee = ANY ($2) FOR NO KEY UPDATE OF t`
	lockStaleIfFree = lockStale + ` SKIP LOCKED`

	deleteStale = `DELETE FROM due_stale WHERE tenant = $1 AND trainee = ANY ($2)`

	setLockTimeout = `SELECT set_config('lock_timeout', $1, true)`
)

const (
	// renewAfter is how long a write may wait for its talks to be derived: those that
	// come meanwhile are done with it.
	renewAfter = 150 * time.Millisecond
	// renewAgain is how long after a failure it is tried again.
	renewAgain = 5 * time.Second
	// renewBatch is how many trainees one transaction locks, for some milliseconds.
	renewBatch = 16
	// staleBatch is how many trainees are looked for at once.
	staleBatch = 500
	// renewTimeout bounds one of the worker's transactions.
	renewTimeout = 10 * time.Second
	// lockPatience is how long a list waits for a write under way, in ms. A program that
	// died in one may hold its row for longer; the caller is then told to try again.
	lockPatience = "2000"
)

// renewer is the worker that derives due talks some time after the writes.
type renewer struct {
	kick chan struct{} // something may be stale
	stop context.CancelFunc
	done chan struct{}
}

// written tells the worker.
func (r *renewer) written() {
	select {
	case r.kick <- struct{}{}:
	default: // it knows
	}
}

// startRenewing begins with what was left by whoever stopped before, and by a migration.
func (s *Store) startRenewing() {
	ctx, stop := context.WithCancel(context.Background())
	s.renewer = renewer{kick: make(chan struct{}, 1), stop: stop, done: make(chan struct{})}
	s.renewer.written()
	go s.renewing(ctx)
}

func (s *Store) renewing(ctx context.Context) {
	defer close(s.renewer.done)
	var retry <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.renewer.kick:
		case <-retry:
		}
		retry = nil
		select {
		case <-ctx.Done():
			return
		case <-time.After(renewAfter):
		}
		left, err := s.renewAll(ctx)
		switch {
		case err != nil: // DueTalks tells its caller
			retry = time.After(renewAgain)
		case left:
			s.renewer.written()
		}
	}
}

// renewAll derives stale talks of any tenants, and reports whether some are left.
// Several programs may do it at once: what one has locked the others leave.
func (s *Store) renewAll(ctx context.Context) (left bool, err error) {
	stale, err := s.stale(ctx)
	left = len(stale) == staleBatch
	for len(stale) > 0 && !errors.Is(err, store.ErrUnavailable) {
		tenant := stale[0].Tenant
		var trainees []string
		for ; len(stale) > 0 && stale[0].Tenant == tenant && len(trainees) < renewBatch; stale = stale[1:] {
			trainees = append(trainees, stale[0].Trainee)
		}
		done, failed := s.renewApart(ctx, tenant, trainees)
		left, err = left || done < len(trainees), errors.Join(err, failed)
	}
	return left, err
}

// renewApart is renew for the worker. One trainee whose rows cannot be read does not
// keep the others from it.
func (s *Store) renewApart(ctx context.Context, tenant string, trainees []string) (done int, err error) {
	bounded, cancel := context.WithTimeout(ctx, renewTimeout)
	done, err = s.renew(bounded, tenant, trainees, lockStaleIfFree)
	cancel()
	if err == nil || len(trainees) == 1 || errors.Is(err, store.ErrUnavailable) {
		return done, err
	}
	err = nil
	for i := range trainees {
		n, failed := s.renewApart(ctx, tenant, trainees[i:i+1])
		done, err = done+n, errors.Join(err, failed)
	}
	return done, err
}

// renewTenant derives all that is stale of a tenant, from the trainees on that are
// found already. It goes once through the tenant: what is written meanwhile need not
// be in its list.
func (s *Store) renewTenant(ctx context.Context, tenant string, stale []string) error {
	for {
		for trainees := range slices.Chunk(stale, renewBatch) {
			done, err := s.renew(ctx, tenant, trainees, lockStaleIfFree)
			if err != nil {
				return err
			}
			for i := 0; done < len(trainees) && i < len(trainees); i++ { // a write is under way: nobody waits for it with others locked
				if _, err := s.renew(ctx, tenant, trainees[i:i+1], lockStale); err != nil {
					return err
				}
			}
		}
		if len(stale) < staleBatch {
			return nil
		}
		last := stale[len(stale)-1]
		stale = nil
		b := &pgx.Batch{}
		named(ctx, b, tenant)
		b.Queue(selectStaleOf, tenant, last, staleBatch).Query(eachRow(scanText(&stale)))
		if err := s.ask(ctx, b); err != nil {
			return fail(ctx, "read stale due talks", err)
		}
	}
}

func scanText(out *[]string) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var text string
		err := r.Scan(&text)
		*out = append(*out, text)
		return err
	}
}

// renew derives the talks of those of a tenant's trainees that lock gets, in one
// transaction, and returns how many. No head moves: nothing that the engine reads has
// changed.
func (s *Store) renew(ctx context.Context, tenant string, trainees []string, lock string) (int, error) {
	v, err := s.open(ctx, store.Scope{Tenant: tenant})
	if err != nil {
		return 0, fail(ctx, "renew due talks", err)
	}
	defer v.end()
	states := map[string]*dueState{}
	var locked []string
	err = v.start(beginWrite, func(b *pgx.Batch) {
		b.Queue(setLockTimeout, lockPatience)
		b.Queue(lock, tenant, trainees).Query(eachRow(func(r pgx.Rows) error {
			var trainee, profile string
			err := r.Scan(&trainee, &profile)
			if err == nil {
				states[trainee].profile, err = rows.DecodeProfile([]byte(profile))
			}
			locked = append(locked, trainee)
			return err
		}))
		for _, t := range trainees { // those too that are not locked: they are few
			states[t] = &dueState{scope: store.Scope{Tenant: tenant, Trainee: t}}
			states[t].queue(b)
		}
	})
	if err == nil && len(locked) > 0 {
		b := &pgx.Batch{}
		for _, t := range locked {
			states[t].queueFirst(b)
		}
		if b.Len() > 0 {
			err = v.send(b)
		}
	}
	if err == nil && len(locked) > 0 {
		err = v.commit(func(b *pgx.Batch) {
			for _, t := range locked {
				states[t].queueReplace(b)
			}
			b.Queue(deleteStale, tenant, locked)
		})
	}
	if err != nil {
		return 0, fail(ctx, "renew due talks", err)
	}
	return len(locked), nil
}

// stale finds some of the trainees that are left to do, in order.
func (s *Store) stale(ctx context.Context) ([]store.Scope, error) {
	ctx, cancel := context.WithTimeout(ctx, renewTimeout)
	defer cancel()
	var out []store.Scope
	b := &pgx.Batch{}
	b.Queue(setUpkeep)
	b.Queue(selectStale, staleBatch).Query(eachRow(func(r pgx.Rows) error {
		var sc store.Scope
		err := r.Scan(&sc.Tenant, &sc.Trainee)
		out = append(out, sc)
		return err
	}))
	err := fail(ctx, "read stale due talks", s.ask(ctx, b))
	slices.SortFunc(out, func(a, b store.Scope) int {
		return cmp.Or(cmp.Compare(a.Tenant, b.Tenant), cmp.Compare(a.Trainee, b.Trainee))
	})
	return out, err
}
