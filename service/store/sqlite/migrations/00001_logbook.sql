-- Every key leads with (tenant, trainee), so that the data of one trainee lies
-- together and a database can be split between tenants. A row goes with its
-- trainee: the foreign keys cascade, so an erasure cannot forget a table.
-- Days are days since 1970-01-01, instants are Unix seconds. WITHOUT ROWID
-- where a row is little more than its key; tables that carry whole answers are
-- ordinary ones, so that long blobs stay out of the key's pages.

-- +goose Up
CREATE TABLE trainee (
  tenant       TEXT    NOT NULL,
  trainee      TEXT    NOT NULL,
  incarnation  TEXT    NOT NULL,
  revision     INTEGER NOT NULL CHECK (revision >= 1),
  display_name TEXT    NOT NULL,
  time_zone    TEXT    NOT NULL,
  profile      TEXT    NOT NULL, -- JSON, profileRow
  created      INTEGER NOT NULL,
  updated      INTEGER NOT NULL,
  PRIMARY KEY (tenant, trainee)
) STRICT, WITHOUT ROWID;

CREATE TABLE entry (
  tenant  TEXT    NOT NULL,
  trainee TEXT    NOT NULL,
  day     INTEGER NOT NULL,
  kind    INTEGER NOT NULL CHECK (kind BETWEEN 1 AND 62), -- a bit of the kinds a query asks for
  key     TEXT    NOT NULL,
  note    TEXT    NOT NULL,
  fact    TEXT    NOT NULL, -- JSON, one row type a kind
  PRIMARY KEY (tenant, trainee, day, kind, key),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

-- One row for each day with at least one entry; written with the entries and
-- derived from them alone.
CREATE TABLE day_rollup (
  tenant        TEXT    NOT NULL,
  trainee       TEXT    NOT NULL,
  day           INTEGER NOT NULL,
  weight_kg     REAL,
  readings      INTEGER NOT NULL,
  intake_kcal   REAL,
  protein_g     REAL,
  steps         REAL,
  activity_kcal REAL,
  marks         INTEGER NOT NULL,
  refeed_kcal   REAL,
  has_photos    INTEGER NOT NULL,
  sparse        TEXT, -- JSON, sparseRow: what few days have
  PRIMARY KEY (tenant, trainee, day),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

CREATE TABLE plan (
  tenant  TEXT    NOT NULL,
  trainee TEXT    NOT NULL,
  id      TEXT    NOT NULL,
  state   INTEGER NOT NULL,
  terms   TEXT    NOT NULL, -- JSON, planRow
  created INTEGER NOT NULL,
  updated INTEGER NOT NULL,
  PRIMARY KEY (tenant, trainee, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

-- At most one plan of a trainee is open (state 0).
CREATE UNIQUE INDEX plan_open ON plan (tenant, trainee) WHERE state = 0;

CREATE TABLE decision (
  tenant        TEXT    NOT NULL,
  trainee       TEXT    NOT NULL,
  plan          TEXT    NOT NULL,
  seq           INTEGER NOT NULL, -- order of recording within the plan
  id            TEXT    NOT NULL,
  from_day      INTEGER NOT NULL,
  action        INTEGER NOT NULL,
  intake_kcal   REAL    NOT NULL,
  activity_kcal REAL    NOT NULL,
  decided_by    TEXT    NOT NULL,
  note          TEXT    NOT NULL,
  given         BLOB,
  recorded      INTEGER NOT NULL,
  PRIMARY KEY (tenant, trainee, plan, seq),
  UNIQUE (tenant, trainee, plan, id),
  FOREIGN KEY (tenant, trainee, plan) REFERENCES plan ON DELETE CASCADE
) STRICT;

CREATE TABLE once (
  tenant     TEXT    NOT NULL,
  trainee    TEXT    NOT NULL,
  method     TEXT    NOT NULL,
  request_id TEXT    NOT NULL,
  body_hash  TEXT    NOT NULL,
  answer     BLOB    NOT NULL,
  recorded   INTEGER NOT NULL,
  PRIMARY KEY (tenant, trainee, method, request_id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT;

CREATE TABLE upload (
  tenant    TEXT    NOT NULL,
  trainee   TEXT    NOT NULL,
  id        TEXT    NOT NULL,
  sha256    TEXT    NOT NULL,
  next_seq  INTEGER NOT NULL,
  committed INTEGER NOT NULL,
  PRIMARY KEY (tenant, trainee, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

-- Keys belong to a tenant, not to a trainee, and their ids are unique over all
-- tenants: a caller is known by the id before its tenant is.
CREATE TABLE api_key (
  id      TEXT    NOT NULL,
  tenant  TEXT    NOT NULL,
  name    TEXT    NOT NULL,
  hash    BLOB    NOT NULL,
  scopes  TEXT    NOT NULL, -- JSON list
  created INTEGER NOT NULL,
  expires INTEGER, -- NULL: never
  revoked INTEGER, -- NULL: live
  PRIMARY KEY (id)
) STRICT, WITHOUT ROWID;

CREATE INDEX api_key_tenant ON api_key (tenant, created, id);
