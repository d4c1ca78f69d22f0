INSERT INTO haccp.plan_draft (plan, version, content, edited_by, edited_by_name, edited_at) VALUES
    ('01997000-0000-7000-8000-000000000005', 1, '', 'x', 'Dana Okrent', now());
