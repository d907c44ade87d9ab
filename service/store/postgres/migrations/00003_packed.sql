-- Facts are packed. What is there is JSON and stays it, byte for byte, until it is
-- written again. The table is written anew: nothing else can be done with it
-- meanwhile, and a program from before cannot read it afterwards.
ALTER TABLE entry ALTER COLUMN fact TYPE bytea USING convert_to(fact, 'UTF8');

-- Days are packed too, 32 that follow each other in a row. Migrate derives all of them from the entries again, which is
-- also what other rules of the roll-up need: rollup_rules says by which they were made.
DROP TABLE day_rollup;
CREATE TABLE day_rollup (
  tenant  text COLLATE "C" NOT NULL,
  trainee text COLLATE "C" NOT NULL,
  block   bigint NOT NULL, -- day >> 5
  packed  bytea  NOT NULL,
  PRIMARY KEY (tenant, trainee, block)
) WITH (fillfactor = 80); -- most writes change the last row: room for it on the same page
ALTER TABLE day_rollup ENABLE ROW LEVEL SECURITY;
ALTER TABLE day_rollup FORCE ROW LEVEL SECURITY;
CREATE POLICY of_tenant ON day_rollup USING (tenant = nullif(current_setting('steelyard.tenant', true), ''));

-- Of what many rows are inserted into at once, the tenant is looked up once for a
-- statement and not for each row.
DO $$
DECLARE
  t regclass;
BEGIN
  FOR t IN
    SELECT oid FROM pg_class WHERE relnamespace = 'steelyard'::regnamespace AND relkind IN ('r', 'p') AND relname ~ '^(entry(_\d+)?|day_rollup)$'
  LOOP
    EXECUTE format('ALTER POLICY of_tenant ON %s WITH CHECK (tenant = (SELECT nullif(current_setting(''steelyard.tenant'', true), '''')))', t);
  END LOOP;
END $$;

ALTER TABLE schema_version ADD COLUMN rollup_rules integer NOT NULL DEFAULT 0;

-- Due talks are no longer derived in a write's own transaction: it leaves its trainee
-- here, and soon after the row is gone again.
ALTER TABLE due_stale SET (autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 1000);
