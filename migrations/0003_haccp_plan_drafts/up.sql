-- Drafts of HACCP plans: replaced whole, with a version that the writer must have read.

SET LOCAL ROLE hankbook_owner;

CALL house.make_plumbing('haccp', 'hankbook_haccp');

CREATE TABLE haccp.plan_draft (
    plan uuid PRIMARY KEY,
    version integer NOT NULL CHECK (version > 0),
    content bytea NOT NULL,
    edited_by text NOT NULL,
    edited_by_name text NOT NULL,
    edited_at timestamptz NOT NULL
);
CALL house.make_transient('haccp.plan_draft', 'hankbook_haccp', 'plans not yet approved');

RESET ROLE;
