INSERT INTO identity.person (id, version, record_id, sign_in_name, name, roles, language, in_use, entered_by, entered_by_name, recorded_at, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000006', 1, '01997000-0000-7000-8000-000000000006', 'dana', 'Dana Okrent', '{QA}', 'en', true, 'x', 'Walt Harrow', now(), '');
