INSERT INTO genealogy.transformation (id, kind, place, place_version, place_name, additions, recorded_at, day, entered_by, entered_by_name, station, fingerprint, observed_at, entered_at, offset_ms, happened) VALUES
    ('01997000-0000-7000-8000-000000000011', 'mix', '01997000-0000-7000-8000-000000000002', 1, 'House 2', '[{"name": "Ice", "value": "1.00", "unit": "kg", "g": "1000.00"}]', now(), '2026-11-25', 'x', 'Ines Tolland', '', '', now(), now(), 0, false);
INSERT INTO genealogy.transformation_input (record, transformation, lot, mass_value, mass_unit, mass_g, taken_g) VALUES
    ('01997000-0000-7000-8000-000000000011', '01997000-0000-7000-8000-000000000011', '01997000-0000-7000-8000-000000000007', 600, 'g', 600, 600);
INSERT INTO genealogy.lot (id, code, kind, material, mass_value, mass_unit, mass_g, place, place_version, place_name, plan, plan_name, plan_version, observed_at, entered_at, recorded_at, offset_ms, happened, day, entered_by, entered_by_name, station, fingerprint, made_by, use_by) VALUES
    ('01997000-0000-7000-8000-000000000012', '26329-2', 'batch', 'No. 1 Rope', 1590, 'g', 1590, '01997000-0000-7000-8000-000000000002', 1, 'House 2', '01997000-0000-7000-8000-000000000005', 'No. 1 Rope', 1, now(), now(), now(), 0, false, '2026-11-25', 'x', 'Ines Tolland', '', '', '01997000-0000-7000-8000-000000000011', '2026-11-26');
UPDATE genealogy.lot_on_hand SET on_hand_g = 80.388555 WHERE lot = '01997000-0000-7000-8000-000000000007';
INSERT INTO genealogy.lot_on_hand (lot, on_hand_g) VALUES ('01997000-0000-7000-8000-000000000012', 1590);
INSERT INTO genealogy.lot_safety (lot, version) VALUES ('01997000-0000-7000-8000-000000000012', 1);
INSERT INTO genealogy.transfer (id, place, place_version, place_name, recorded_at, day, entered_by, entered_by_name, station, fingerprint, observed_at, entered_at, offset_ms, happened) VALUES
    ('01997000-0000-7000-8000-000000000013', '01997000-0000-7000-8000-000000000002', 1, 'House 2', now(), '2026-11-25', 'x', 'Ines Tolland', '', '', now(), now(), 0, false);
INSERT INTO genealogy.transfer_lot (transfer, lot) VALUES ('01997000-0000-7000-8000-000000000013', '01997000-0000-7000-8000-000000000012');
INSERT INTO genealogy.open_item (id, code, record, what, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000014', 'NO_PLAN', '01997000-0000-7000-8000-000000000011', 'It names no plan in force.', now(), '2026-11-25', 'x', 'Ines Tolland', '', '');
INSERT INTO genealogy.open_item_lot (open_item, lot) VALUES ('01997000-0000-7000-8000-000000000014', '01997000-0000-7000-8000-000000000012');
