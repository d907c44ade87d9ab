-- Keys may be bound to one trainee and say when they were last used; the trail of
-- who did what; how long a tenant's data is kept. What is NULL in a foreign key is
-- not looked for: a key or a record that is about no trainee hangs on none.

ALTER TABLE api_key
  ADD COLUMN trainee text COLLATE "C", -- NULL: for all of the tenant's
  ADD COLUMN used    bigint,           -- NULL: never
  ADD FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE;

CREATE INDEX api_key_trainee ON api_key (tenant, trainee);

-- Ids sort by time.
CREATE TABLE audit (
  tenant   text COLLATE "C" NOT NULL,
  id       text COLLATE "C" NOT NULL,
  trainee  text COLLATE "C",  -- NULL: about none, or about one that was erased
  at       bigint NOT NULL,   -- ms since 1970
  actor    text   NOT NULL,
  method   text   NOT NULL,
  resource text   NOT NULL,
  PRIMARY KEY (tenant, id),
  FOREIGN KEY (tenant, trainee) REFERENCES trainee ON DELETE CASCADE
);

CREATE INDEX audit_trainee ON audit (tenant, trainee, id);

-- Whoever sweeps has to know which tenants there are. A tenant comes with its first
-- key, trainee or record and stays.
CREATE TABLE tenant (
  tenant    text COLLATE "C" NOT NULL,
  idle_days integer NOT NULL DEFAULT 0, -- 0: for ever
  PRIMARY KEY (tenant)
);

-- The owner too sees nothing through the policies while it names no tenant.
ALTER TABLE trainee NO FORCE ROW LEVEL SECURITY;
ALTER TABLE api_key NO FORCE ROW LEVEL SECURITY;
INSERT INTO tenant (tenant) SELECT tenant FROM trainee UNION SELECT tenant FROM api_key;
ALTER TABLE trainee FORCE ROW LEVEL SECURITY;
ALTER TABLE api_key FORCE ROW LEVEL SECURITY;

DO $$
DECLARE
  t text;
  mine text := 'tenant = nullif(current_setting(''steelyard.tenant'', true), '''')';
BEGIN
  FOREACH t IN ARRAY ARRAY['audit', 'tenant'] LOOP
    EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
    EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
    EXECUTE format('CREATE POLICY of_tenant ON %I USING (%s) WITH CHECK (%s)', t, mine, mine);
  END LOOP;
END $$;

CREATE POLICY for_upkeep ON tenant FOR SELECT
  USING (current_setting('steelyard.upkeep', true) = 'on');

-- When something was last written of a trainee. Of those that are there nothing
-- better is known than that it was before now.
ALTER TABLE trainee ADD COLUMN written bigint NOT NULL DEFAULT extract(epoch FROM now());
ALTER TABLE trainee ALTER COLUMN written DROP DEFAULT;

-- What is over is the oldest of a tenant.
CREATE INDEX once_age ON once (tenant, recorded);

-- use_keys notes when keys were last used. It finds the tenant of each as Key does,
-- by the one id that it names, and then changes the key as that tenant.
CREATE FUNCTION use_keys(ids text[], times bigint[]) RETURNS void
LANGUAGE plpgsql VOLATILE SECURITY INVOKER AS $$
DECLARE
  owner text;
BEGIN
  FOR i IN 1..coalesce(cardinality(ids), 0) LOOP
    PERFORM set_config('steelyard.key', ids[i], true);
    SELECT k.tenant INTO owner FROM steelyard.api_key k WHERE k.id = ids[i];
    CONTINUE WHEN owner IS NULL;
    PERFORM set_config('steelyard.tenant', owner, true);
    UPDATE steelyard.api_key k SET used = times[i]
      WHERE k.tenant = owner AND k.id = ids[i] AND (k.used IS NULL OR k.used < times[i]);
  END LOOP;
END $$;
