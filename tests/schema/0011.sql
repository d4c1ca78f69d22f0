INSERT INTO haccp.file (id, about, reading, name, media_type, bytes, sha256, recorded_at, day, entered_by, entered_by_name, station, fingerprint) VALUES
    ('01997000-0000-7000-8000-000000000b01', 'reading:01997000-0000-7000-8000-00000000000a', '01997000-0000-7000-8000-00000000000a', 'curve.csv', 'text/csv', 4, sha256('\x612c620a'), now(), '2026-11-25', 'x', 'Ines Tolland', '', '');
INSERT INTO haccp.file_content (file, content) VALUES ('01997000-0000-7000-8000-000000000b01', '\x612c620a');
