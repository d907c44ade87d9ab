package sqlite

import "os"

// makeFile makes the database file, readable by its owner only, when there is
// none. SQLite's own locks order the writes of several processes, and every
// read asks the file for the head: so a second process, such as one that makes
// a key beside a running server, cannot make anything stale.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600) // #nosec G304 -- the operator says where
	if err != nil {
		return err
	}
	return f.Close()
}
