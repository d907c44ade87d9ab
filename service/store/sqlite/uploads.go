package sqlite

import (
	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

const (
	selectUpload = `SELECT sha256, next_seq, committed FROM upload WHERE tenant = ? AND trainee = ? AND id = ?`

	upsertUpload = `INSERT INTO upload (tenant, trainee, id, sha256, next_seq, committed) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT (tenant, trainee, id) DO UPDATE SET sha256 = excluded.sha256, next_seq = excluded.next_seq, committed = excluded.committed`
)

// Upload implements store.View.
func (v *view) Upload(id string) (store.Upload, error) {
	u := store.Upload{ID: id}
	err := v.row(func(st *driver.Stmt) error {
		u.SHA256, u.NextSeq, u.Committed = st.ColumnText(0), st.ColumnInt64(1), st.ColumnInt64(2)
		return nil
	}, selectUpload, v.scope.Tenant, v.scope.Trainee, id)
	if err != nil {
		return store.Upload{}, v.fail("read upload", err)
	}
	return u, nil
}

// PutUpload implements store.Tx.
func (tx *writeTx) PutUpload(u store.Upload) error {
	_, err := tx.exec(upsertUpload, tx.scope.Tenant, tx.scope.Trainee, u.ID, u.SHA256, u.NextSeq, u.Committed)
	return tx.fail("put upload", err)
}
