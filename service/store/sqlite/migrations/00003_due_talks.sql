-- Who is due a talk: derived from a trainee's log, profile and open plan in the
-- transaction of each write, so that the front desk's list reads no log.

-- +goose Up
CREATE TABLE due_talk (
  tenant    TEXT    NOT NULL,
  trainee   TEXT    NOT NULL,
  seq       INTEGER NOT NULL, -- place in the trainee's own list, from 1
  reason    INTEGER NOT NULL,
  from_day  INTEGER NOT NULL,
  until_day INTEGER, -- NULL: until something changes
  plan      TEXT    NOT NULL,
  line      TEXT    NOT NULL,
  PRIMARY KEY (tenant, trainee, seq),
  FOREIGN KEY (tenant, trainee, plan) REFERENCES plan ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

-- In the list's order, with all that decides whether a row is in it.
CREATE INDEX due_talk_list ON due_talk (tenant, from_day, trainee, seq, reason, until_day);

-- Trainees whose rows are still to be derived, which Open does. A migration that
-- comes with other rules or lines fills it again.
CREATE TABLE due_stale (
  tenant  TEXT NOT NULL,
  trainee TEXT NOT NULL,
  PRIMARY KEY (tenant, trainee),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

INSERT INTO due_stale (tenant, trainee) SELECT tenant, trainee FROM plan WHERE state = 0;
