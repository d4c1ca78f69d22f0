INSERT INTO yields.scale (id, version, record_id, name, division, unit, in_use, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000130', 1, '01997000-0000-7000-8000-000000000130', 'Floor scale', 0.5, '[lb_av]', true, now(), '2026-11-25', 'x', 'Marcus Vey', '', '');
INSERT INTO yields.weighing (id, stage, gross, tare, net, unit, scale, scale_version, scale_name, note, recorded_at, day, entered_by, entered_by_name, station, fingerprint, observed_at, entered_at, offset_ms, happened) VALUES
    ('01997000-0000-7000-8000-000000000131', 'received', 512.40, 38.15, 474.25, '[lb_av]', '01997000-0000-7000-8000-000000000130', 1, 'Floor scale', '', now(), '2026-11-25', 'x', 'Ines Tolland', '', '', now(), now(), 0, false);
INSERT INTO yields.weighing_lot (weighing, lot) VALUES ('01997000-0000-7000-8000-000000000131', '01997000-0000-7000-8000-000000000007');
INSERT INTO yields.cost (id, lot, version, amount_minor, currency, per_value, per_unit, source, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000132', '01997000-0000-7000-8000-000000000007', 1, 18900, 'USD', 100, '[lb_av]', 'invoice 118', now(), '2026-11-25', 'x', 'Walt Harrow', '', '');
