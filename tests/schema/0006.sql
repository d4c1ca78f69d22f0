INSERT INTO haccp.plan (id, version, record_id, name, binds, content, ticket, recorded_at, entered_by, entered_by_name, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000005', 1, '01997000-0000-7000-8000-000000000008', 'Receiving', 'received', '', '01997000-0000-7000-8000-000000000009', now(), 'x', 'Dana Okrent', '');
INSERT INTO haccp.reading (id, plan, plan_version, check_code, readings, unit, verdict, observed_at, entered_at, recorded_at, offset_ms, happened, day, entered_by, entered_by_name, station, note, fingerprint) VALUES
    ('01997000-0000-7000-8000-00000000000a', '01997000-0000-7000-8000-000000000005', 1, 'CCP-1', '{38.6}', '[degF]', 'PASS', now(), now(), now(), 0, false, '2026-11-25', 'x', 'Ines Tolland', '', '', '');
