package sqlite

import (
	"errors"
	"fmt"
	"os"
	"syscall"

	"example.com/steelyard/service/store"
)

// takeFile makes the database file, readable by its owner only, when there is
// none, and takes it for this process: two processes would each believe their
// own caches. The lock is a file beside it, since SQLite locks the database
// itself in its own way, and ends with the process however that ends.
func takeFile(path string) (*os.File, error) {
	lock, err := os.OpenFile(path+".lock", os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		lock.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("%w: another process holds %s.lock", store.ErrUnavailable, path)
		}
		return nil, fmt.Errorf("lock %s.lock: %w", path, err)
	}
	db, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		lock.Close()
		return nil, err
	}
	return lock, db.Close()
}
