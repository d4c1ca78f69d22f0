INSERT INTO genealogy.place (id, version, record_id, name, kind, in_use, entered_by, entered_by_name, recorded_at, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000002', 1, '01997000-0000-7000-8000-000000000002', 'House 2', 'house', true, 'x', 'Walt Harrow', now(), '');
INSERT INTO genealogy.partner (id, version, record_id, name, is_supplier, is_customer, address, phone, in_use, entered_by, entered_by_name, recorded_at, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000003', 1, '01997000-0000-7000-8000-000000000003', 'Two Rivers Meats', true, false, '', '', true, 'x', 'Walt Harrow', now(), '');
INSERT INTO genealogy.outbox (id, subject, method, body) VALUES
    ('01997000-0000-7000-8000-000000000004', 'lot:1', '/x', '');
INSERT INTO genealogy.idempotency (scope, key, method, fingerprint, answer, kept_at) VALUES ('x', 'k', '/x', '', '', now());
