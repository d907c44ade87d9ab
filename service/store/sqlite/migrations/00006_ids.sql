-- A trainee has a number inside the file, and the tables with many rows lead with it:
-- two texts in each key made rows long, and looking for their owner slow. The scope
-- stays the only way to a number: it is read with the head, in each transaction.

-- +goose Up
ALTER TABLE trainee ADD COLUMN id INTEGER NOT NULL DEFAULT 0;
UPDATE trainee SET id = numbered.n
FROM (SELECT tenant, trainee, row_number() OVER (ORDER BY tenant, trainee) AS n FROM trainee) AS numbered
WHERE numbered.tenant = trainee.tenant AND numbered.trainee = trainee.trainee;
CREATE UNIQUE INDEX trainee_id ON trainee (id);

-- The last number that was given. None is given twice, so that a row which something
-- else left behind can never come to be another one's.
CREATE TABLE last_trainee_id (id INTEGER NOT NULL) STRICT;
INSERT INTO last_trainee_id SELECT coalesce(max(id), 0) FROM trainee;

CREATE TABLE entry_by_id (
  trainee_id INTEGER NOT NULL,
  day        INTEGER NOT NULL,
  kind       INTEGER NOT NULL CHECK (kind BETWEEN 1 AND 62), -- a bit of the kinds a query asks for
  key        TEXT    NOT NULL,
  note       TEXT    NOT NULL,
  fact       BLOB    NOT NULL, -- packed, or JSON from before
  PRIMARY KEY (trainee_id, day, kind, key),
  FOREIGN KEY (trainee_id) REFERENCES trainee (id) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
INSERT INTO entry_by_id
SELECT id, day, kind, key, note, fact FROM trainee CROSS JOIN entry USING (tenant, trainee) ORDER BY 1, 2, 3, 4;
DROP TABLE entry;
ALTER TABLE entry_by_id RENAME TO entry;

-- With rowids: a block is longer than what a key's page takes, and would have a page
-- of its own beside it, to be written each time.
CREATE TABLE day_rollup_by_id (
  trainee_id INTEGER NOT NULL,
  block      INTEGER NOT NULL, -- 32 days that follow each other
  packed     BLOB    NOT NULL, -- those of them that have entries
  PRIMARY KEY (trainee_id, block),
  FOREIGN KEY (trainee_id) REFERENCES trainee (id) ON DELETE CASCADE
) STRICT;
INSERT INTO day_rollup_by_id
SELECT id, block, packed FROM trainee CROSS JOIN day_rollup USING (tenant, trainee) ORDER BY 1, 2;
DROP TABLE day_rollup;
ALTER TABLE day_rollup_by_id RENAME TO day_rollup;

-- Its rows stay in the order of time.
CREATE TABLE once_by_id (
  trainee_id INTEGER NOT NULL,
  method     TEXT    NOT NULL,
  request_id TEXT    NOT NULL,
  body_hash  TEXT    NOT NULL,
  answer     BLOB    NOT NULL,
  recorded   INTEGER NOT NULL,
  PRIMARY KEY (trainee_id, method, request_id),
  FOREIGN KEY (trainee_id) REFERENCES trainee (id) ON DELETE CASCADE
) STRICT;
INSERT INTO once_by_id
SELECT id, method, request_id, body_hash, answer, recorded FROM once CROSS JOIN trainee USING (tenant, trainee) ORDER BY once.rowid;
DROP TABLE once;
ALTER TABLE once_by_id RENAME TO once;
