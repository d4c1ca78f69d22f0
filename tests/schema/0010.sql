INSERT INTO formulas.material (id, version, record_id, name, kind, in_use, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000101', 1, '01997000-0000-7000-8000-000000000101', 'Pork trim 72', 'meat', true, now(), '2026-11-25', 'x', 'Dana Okrent', '', '');
INSERT INTO formulas.material_in_force (material, version, name) VALUES ('01997000-0000-7000-8000-000000000101', 1, 'Pork trim 72');
INSERT INTO formulas.specification (id, material, version, in_force_from, content, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000102', '01997000-0000-7000-8000-000000000101', 1, now(), '', now(), '2026-11-25', 'x', 'Dana Okrent', '', '');
INSERT INTO formulas.product (id, version, record_id, name, product_class, standard_id, in_use, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000103', 1, '01997000-0000-7000-8000-000000000103', 'No. 1 Rope', 'comminuted', '', true, now(), '2026-11-25', 'x', 'Dana Okrent', '', '');
INSERT INTO formulas.label (id, version, record_id, item, revision, statement, allergens, in_force_from, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000104', 1, '01997000-0000-7000-8000-000000000104', 'No. 1 Rope', '3', 'Pork.', '{}', now(), now(), '2026-11-25', 'x', 'Dana Okrent', '', '');
INSERT INTO formulas.formula_draft (formula, version, content, edited_by, edited_by_name, edited_at) VALUES
    ('01997000-0000-7000-8000-000000000105', 1, '', 'x', 'Dana Okrent', now());
INSERT INTO formulas.formula (id, version, record_id, name, product, label, content, warnings, ticket, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000105', 1, '01997000-0000-7000-8000-000000000106', 'No. 1 Rope', '01997000-0000-7000-8000-000000000103', '01997000-0000-7000-8000-000000000104', '', '', '01997000-0000-7000-8000-000000000107', now(), '2026-11-25', 'x', 'Dana Okrent', '', '');
INSERT INTO formulas.formula_in_force (formula, version) VALUES ('01997000-0000-7000-8000-000000000105', 1);
INSERT INTO formulas.batch_sheet (id, formula, formula_version, content, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000108', '01997000-0000-7000-8000-000000000105', 1, '', now(), '2026-11-25', 'x', 'Ines Tolland', '', '');
INSERT INTO formulas.kit (id, lot, formula, formula_version, content, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000109', '01997000-0000-7000-8000-00000000010a', '01997000-0000-7000-8000-000000000105', 1, '', now(), '2026-11-25', 'x', 'Ines Tolland', '', '');
INSERT INTO formulas.kit_use (id, lot, batch, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-00000000010b', '01997000-0000-7000-8000-00000000010a', '01997000-0000-7000-8000-00000000010c', now(), '2026-11-25', 'x', 'Ines Tolland', '', '');
