-- What a write costs: due talks are derived after it, and facts and days are packed.

-- +goose Up

-- The revision that a trainee's due talks were derived at; any other than the
-- present one is still to be done. A migration that comes with other rules or lines
-- sets it to 0.
ALTER TABLE trainee ADD COLUMN due_revision INTEGER NOT NULL DEFAULT 0;
UPDATE trainee SET due_revision = revision WHERE (tenant, trainee) NOT IN (SELECT tenant, trainee FROM due_stale);
CREATE INDEX trainee_due ON trainee (tenant, trainee) WHERE due_revision <> revision;
DROP TABLE due_stale;

-- What is there is JSON and stays it, byte for byte, until it is written again.
CREATE TABLE packed_entry (
  tenant  TEXT    NOT NULL,
  trainee TEXT    NOT NULL,
  day     INTEGER NOT NULL,
  kind    INTEGER NOT NULL CHECK (kind BETWEEN 1 AND 62), -- a bit of the kinds a query asks for
  key     TEXT    NOT NULL,
  note    TEXT    NOT NULL,
  fact    BLOB    NOT NULL, -- packed, or JSON from before
  PRIMARY KEY (tenant, trainee, day, kind, key),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
INSERT INTO packed_entry SELECT tenant, trainee, day, kind, key, note, CAST(fact AS BLOB) FROM entry ORDER BY 1, 2, 3, 4, 5;
DROP TABLE entry;
ALTER TABLE packed_entry RENAME TO entry;

-- Open derives all days from the entries again, packed: of what is derived
-- nothing is lost. user_version is by which rules they were made, rollup.Rules.
DROP TABLE day_rollup;
CREATE TABLE day_rollup (
  tenant  TEXT    NOT NULL,
  trainee TEXT    NOT NULL,
  block   INTEGER NOT NULL, -- 32 days that follow each other
  packed  BLOB    NOT NULL, -- those of them that have entries
  PRIMARY KEY (tenant, trainee, block),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
PRAGMA user_version = 0;
