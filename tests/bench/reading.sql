-- One reading with its link and its leaf: the same rows, foreign keys and guard as the service
-- writes, in one statement, without anything around it. The lots are those of tests/bench/load.rs.
-- Numbers and words of the entry are arguments: pgbench reads a colon before them as a variable.
\set lot random(1, 64)
WITH given AS (
    SELECT gen_random_uuid() AS id, :plan::uuid AS plan,
        ('01980000-0000-7000-8000-' || lpad(to_hex(:lot::int), 12, '0'))::uuid AS lot, now() AS at
), allowed AS (
    SELECT given.* FROM given
    WHERE EXISTS (SELECT 1 FROM haccp.plan_in_force AS p WHERE p.plan = given.plan AND version = 1)
), reading AS (
    INSERT INTO haccp.reading (id, plan, plan_version, check_code, readings, unit, verdict,
        observed_at, entered_at, recorded_at, offset_ms, happened, day, entered_by,
        entered_by_name, station, note, fingerprint)
    SELECT id, plan, 1, 'CCP-1', '{38.5}', '[degF]', 'PASS', at, at, at, 0, false, current_date,
        '0197a1c2-7d1e-7000-8000-000000000001', 'Dana Okrent', '', '',
        sha256(uuid_send(id)) FROM allowed ON CONFLICT (id) DO NOTHING RETURNING id
), link AS (
    INSERT INTO haccp.reading_lot (reading, lot) SELECT reading.id, allowed.lot FROM reading, allowed
), entry AS (
    SELECT id, lot, at, format('{"check":"CCP-1","day":"%s","entered_by":{"id":'
        '"0197a1c2-7d1e-7000-8000-000000000001","name":"Dana Okrent"},"form":"haccp.reading/1",'
        '"id":"%s","lots":["%s"],"note":"","plan":"%s","plan_version":%s,"readings":["38.5"],'
        '"reasons":["38.5 [degF] is at most 40 [degF]."],"recorded_at":"%s","station":"",'
        '"subject":"lot:%s","times":{"entered_at":"%s","happened":%s,"observed_at":"%s",'
        '"offset_ms":%s},"unit":"[degF]","verdict":"PASS"}',
        current_date, id, lot, plan, 1, at, lot, at, 'false', at, 0) AS text FROM allowed
)
INSERT INTO audit.leaf (id, form, subject, day, recorded_at, entry, hash)
SELECT reading.id, 'haccp.reading/1', 'lot:' || lot, current_date, at, text,
    sha256('\x00'::bytea || convert_to(text, 'UTF8')) FROM reading, entry;
