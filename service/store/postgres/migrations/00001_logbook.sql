-- Every key leads with (tenant, trainee), so that the data of one trainee lies
-- together and a database can be split between tenants. Days are days since
-- 1970-01-01, instants are Unix seconds. Texts that are compared have the "C"
-- collation: their order is that of their bytes on every machine.
--
-- A row goes with its trainee: the foreign keys cascade. entry and day_rollup
-- have none, since they would be asked for each of the many rows of a backfill;
-- whoever writes them holds the lock on the trainee's row, and an erasure
-- removes them by name.

CREATE TABLE trainee (
  tenant       text COLLATE "C" NOT NULL,
  trainee      text COLLATE "C" NOT NULL,
  incarnation  text   NOT NULL, -- 24 hex digits
  revision     bigint NOT NULL CHECK (revision >= 1),
  display_name text   NOT NULL,
  time_zone    text   NOT NULL,
  profile      text   NOT NULL, -- JSON
  created      bigint NOT NULL,
  updated      bigint NOT NULL,
  PRIMARY KEY (tenant, trainee)
) WITH (fillfactor = 80); -- each write updates a row: room for it on the same page

CREATE TABLE entry (
  tenant  text COLLATE "C" NOT NULL,
  trainee text COLLATE "C" NOT NULL,
  day     integer  NOT NULL,
  kind    smallint NOT NULL CHECK (kind BETWEEN 1 AND 62), -- a bit of the kinds a query asks for
  key     text COLLATE "C" NOT NULL,
  note    text NOT NULL,
  fact    text NOT NULL, -- JSON, one row type a kind
  PRIMARY KEY (tenant, trainee, day, kind, key)
) PARTITION BY HASH (tenant, trainee);

DO $$
BEGIN
  FOR i IN 0..15 LOOP
    EXECUTE format('CREATE TABLE entry_%s PARTITION OF entry FOR VALUES WITH (MODULUS 16, REMAINDER %s)', i, i);
  END LOOP;
END $$;

-- One row for each day with at least one entry; written with the entries and
-- derived from them alone.
CREATE TABLE day_rollup (
  tenant        text COLLATE "C" NOT NULL,
  trainee       text COLLATE "C" NOT NULL,
  day           integer  NOT NULL,
  weight_kg     double precision,
  readings      integer  NOT NULL,
  intake_kcal   double precision,
  protein_g     double precision,
  steps         double precision,
  activity_kcal double precision,
  marks         integer  NOT NULL,
  refeed_kcal   double precision,
  has_photos    boolean  NOT NULL,
  sparse        text, -- JSON: what few days have
  PRIMARY KEY (tenant, trainee, day)
);

CREATE TABLE plan (
  tenant  text COLLATE "C" NOT NULL,
  trainee text COLLATE "C" NOT NULL,
  id      text COLLATE "C" NOT NULL,
  state   smallint NOT NULL,
  terms   text     NOT NULL, -- JSON
  created bigint   NOT NULL,
  updated bigint   NOT NULL,
  PRIMARY KEY (tenant, trainee, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
);

-- At most one plan of a trainee is open (state 0).
CREATE UNIQUE INDEX plan_open ON plan (tenant, trainee) WHERE state = 0;

CREATE TABLE decision (
  tenant             text COLLATE "C" NOT NULL,
  trainee            text COLLATE "C" NOT NULL,
  plan               text COLLATE "C" NOT NULL,
  seq                bigint   NOT NULL, -- order of recording within the plan
  id                 text COLLATE "C" NOT NULL,
  from_day           integer  NOT NULL,
  action             smallint NOT NULL,
  intake_kcal        double precision NOT NULL,
  activity_kcal      double precision NOT NULL,
  refeed_every_days  integer  NOT NULL,
  refeed_intake_kcal double precision NOT NULL,
  decided_by         text     NOT NULL,
  note               text     NOT NULL,
  given              bytea,
  recorded           bigint   NOT NULL,
  PRIMARY KEY (tenant, trainee, plan, seq),
  UNIQUE (tenant, trainee, plan, id),
  FOREIGN KEY (tenant, trainee, plan) REFERENCES plan ON DELETE CASCADE
);

CREATE TABLE once (
  tenant     text COLLATE "C" NOT NULL,
  trainee    text COLLATE "C" NOT NULL,
  method     text COLLATE "C" NOT NULL,
  request_id text COLLATE "C" NOT NULL,
  body_hash  text   NOT NULL,
  answer     bytea  NOT NULL,
  recorded   bigint NOT NULL,
  PRIMARY KEY (tenant, trainee, method, request_id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
);

CREATE TABLE upload (
  tenant    text COLLATE "C" NOT NULL,
  trainee   text COLLATE "C" NOT NULL,
  id        text COLLATE "C" NOT NULL,
  sha256    text   NOT NULL,
  next_seq  bigint NOT NULL,
  committed bigint NOT NULL,
  PRIMARY KEY (tenant, trainee, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
);

-- Who is due a talk: derived from a trainee's log, profile and open plan in the
-- transaction of each write, so that the front desk's list reads no log.
CREATE TABLE due_talk (
  tenant    text COLLATE "C" NOT NULL,
  trainee   text COLLATE "C" NOT NULL,
  seq       integer  NOT NULL, -- place in the trainee's own list, from 1
  reason    smallint NOT NULL CHECK (reason BETWEEN 1 AND 30), -- a bit of the reasons a query asks for
  from_day  integer  NOT NULL,
  until_day integer, -- NULL: until something changes
  plan      text COLLATE "C" NOT NULL,
  line      text     NOT NULL,
  PRIMARY KEY (tenant, trainee, seq),
  FOREIGN KEY (tenant, trainee, plan) REFERENCES plan ON DELETE CASCADE
);

-- In the list's order, with all that decides whether a row is in it.
CREATE INDEX due_talk_list ON due_talk (tenant, from_day, trainee, seq, reason, until_day);

-- Trainees whose talks are still to be derived, which Open does. A migration
-- that comes with other rules or lines fills it.
CREATE TABLE due_stale (
  tenant  text COLLATE "C" NOT NULL,
  trainee text COLLATE "C" NOT NULL,
  PRIMARY KEY (tenant, trainee),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
);

-- Keys belong to a tenant, not to a trainee, and their ids are unique over all
-- tenants: a caller is known by the id before its tenant is.
CREATE TABLE api_key (
  id      text COLLATE "C" NOT NULL,
  tenant  text COLLATE "C" NOT NULL,
  name    text   NOT NULL,
  hash    bytea  NOT NULL,
  scopes  text   NOT NULL, -- JSON list
  created bigint NOT NULL,
  expires bigint, -- NULL: never
  revoked bigint, -- NULL: live
  PRIMARY KEY (id)
);

CREATE INDEX api_key_tenant ON api_key (tenant, created, id);

-- A transaction sees the rows of the one tenant that it has named, whatever its
-- statements ask for; without a name it sees none. After the first transaction
-- that named one, a connection has the empty text there and not NULL.
DO $$
DECLARE
  t regclass;
  mine text := 'tenant = nullif(current_setting(''steelyard.tenant'', true), '''')';
BEGIN
  FOR t IN
    SELECT c.oid FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
    WHERE c.relnamespace = 'steelyard'::regnamespace AND c.relkind IN ('r', 'p') AND a.attname = 'tenant'
  LOOP
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY of_tenant ON %s USING (%s) WITH CHECK (%s)', t, mine, mine);
  END LOOP;
END $$;

-- Two things are looked for before a tenant is known, each by a policy that shows
-- what it needs and nothing more: the one key whose id the transaction has named,
-- and of the upkeep which trainees it has left to do.
CREATE POLICY by_id ON api_key FOR SELECT
  USING (id = nullif(current_setting('steelyard.key', true), ''));
CREATE POLICY for_upkeep ON due_stale FOR SELECT
  USING (current_setting('steelyard.upkeep', true) = 'on');

-- heads reads the heads of many trainees of many tenants in one statement. It
-- runs with the rights of its caller and names one tenant after the other, so
-- that the policies hold here too. sizes says how many of trainees belong to each
-- of tenants in turn. It must be volatile: each of its queries sees what was
-- committed before it.
CREATE FUNCTION heads(tenants text[], sizes integer[], trainees text[])
RETURNS TABLE (tenant text, trainee text, incarnation text, revision bigint)
LANGUAGE plpgsql VOLATILE SECURITY INVOKER AS $$
#variable_conflict use_column
DECLARE
  first integer := 1;
BEGIN
  FOR i IN 1..cardinality(tenants) LOOP
    PERFORM set_config('steelyard.tenant', tenants[i], true);
    RETURN QUERY SELECT h.tenant, h.trainee, h.incarnation, h.revision FROM steelyard.trainee h
      WHERE h.tenant = tenants[i] AND h.trainee = ANY (trainees[first : first + sizes[i] - 1]);
    first := first + sizes[i];
  END LOOP;
END $$;
