-- Facts and what few days have are packed. What is there is JSON and stays it, byte
-- for byte, until it is written again. The tables are written anew: nothing else can
-- be done with them meanwhile, and a program from before cannot read them afterwards.
ALTER TABLE entry ALTER COLUMN fact TYPE bytea USING convert_to(fact, 'UTF8');
ALTER TABLE day_rollup ALTER COLUMN sparse TYPE bytea USING convert_to(sparse, 'UTF8');

-- Due talks are no longer derived in a write's own transaction: it leaves its trainee
-- here, and soon after the row is gone again.
ALTER TABLE due_stale SET (autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 1000);
