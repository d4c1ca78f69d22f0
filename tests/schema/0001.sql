INSERT INTO audit.leaf (id, form, subject, day, recorded_at, entry, hash) VALUES
    ('01997000-0000-7000-8000-000000000001', 'house.plant/1', 'plant:1', '2026-11-25', now(), '{}', sha256('\x007b7d'));
INSERT INTO house.plant (id, is_simulated, made_at) VALUES
    ('01997000-0000-7000-8000-000000000001', true, now());
INSERT INTO house.release (schema_number, oldest_binary) VALUES (1, 1);
