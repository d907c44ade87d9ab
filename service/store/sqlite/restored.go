package sqlite

import "context"

const markRestored = `UPDATE trainee SET incarnation = lower(hex(randomblob(16)))`

// Restored gives every trainee a new incarnation, and returns how many there are.
// After a backup was put back revisions come a second time with other content, and
// what was remembered of the first time must not be taken for it.
func (s *Store) Restored(ctx context.Context) (trainees int, err error) {
	err = s.write(ctx, func(c conn) error {
		n, err := c.exec(markRestored)
		trainees = n
		return fail(ctx, "renew incarnations", err)
	})
	return trainees, err
}
