-- Keys may be bound to one trainee and say when they were last used; the trail of
-- who did what; how long a tenant's data is kept. What is NULL in a foreign key is
-- not looked for: a key or a record that is about no trainee hangs on none.

-- +goose Up
-- A foreign key over two columns cannot be added to a table.
CREATE TABLE api_key_bound (
  id      TEXT    NOT NULL,
  tenant  TEXT    NOT NULL,
  trainee TEXT,             -- NULL: for all of the tenant's
  name    TEXT    NOT NULL,
  hash    BLOB    NOT NULL,
  scopes  TEXT    NOT NULL, -- JSON list
  created INTEGER NOT NULL,
  expires INTEGER,          -- NULL: never
  revoked INTEGER,          -- NULL: live
  used    INTEGER,          -- NULL: never
  PRIMARY KEY (id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

INSERT INTO api_key_bound (id, tenant, name, hash, scopes, created, expires, revoked)
SELECT id, tenant, name, hash, scopes, created, expires, revoked FROM api_key;
DROP TABLE api_key;
ALTER TABLE api_key_bound RENAME TO api_key;

CREATE INDEX api_key_tenant ON api_key (tenant, created, id);
CREATE INDEX api_key_trainee ON api_key (tenant, trainee);

-- Ids sort by time.
CREATE TABLE audit (
  tenant   TEXT    NOT NULL,
  id       TEXT    NOT NULL,
  trainee  TEXT,             -- NULL: about none, or about one that was erased
  at       INTEGER NOT NULL, -- ms since 1970
  actor    TEXT    NOT NULL,
  method   TEXT    NOT NULL,
  resource TEXT    NOT NULL,
  PRIMARY KEY (tenant, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT;

CREATE INDEX audit_trainee ON audit (tenant, trainee, id);
CREATE INDEX audit_age ON audit (id);

CREATE TABLE retention (
  tenant    TEXT    NOT NULL,
  idle_days INTEGER NOT NULL, -- 0: for ever
  PRIMARY KEY (tenant)
) STRICT, WITHOUT ROWID;

-- When something was last written of a trainee. Of those that are there nothing
-- better is known than that it was before now.
ALTER TABLE trainee ADD COLUMN written INTEGER NOT NULL DEFAULT 0;
UPDATE trainee SET written = unixepoch();
