package postgres

import (
	"github.com/jackc/pgx/v5"

	"example.com/steelyard/service/store"
)

const (
	selectUpload = `SELECT sha256, next_seq, committed FROM upload WHERE tenant = $1 AND trainee = $2 AND id = $3`

	upsertUpload = `INSERT INTO upload (tenant, trainee, id, sha256, next_seq, committed) VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT (tenant, trainee, id) DO UPDATE SET sha256 = excluded.sha256, next_seq = excluded.next_seq, committed = excluded.committed`
)

// Upload implements store.View.
func (v *view) Upload(id string) (store.Upload, error) {
	u := store.Upload{ID: id}
	err := v.one(func(r pgx.Row) error { return r.Scan(&u.SHA256, &u.NextSeq, &u.Committed) },
		selectUpload, v.scope.Tenant, v.scope.Trainee, id)
	if err != nil {
		return store.Upload{}, v.fail("read upload", err)
	}
	return u, nil
}

// PutUpload implements store.Tx.
func (tx *writeTx) PutUpload(u store.Upload) error {
	tx.later.Queue(upsertUpload, tx.scope.Tenant, tx.scope.Trainee, u.ID, u.SHA256, u.NextSeq, u.Committed)
	return nil
}
