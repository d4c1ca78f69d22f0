-- The sealed log: the order of leaves, their tree, its signed checkpoints, and how to find entries.

SET LOCAL ROLE hankbook_owner;

GRANT USAGE ON SCHEMA audit TO hankbook_audit;

-- Marks a table as sealed: it grows at its end only, and a tree signed outside proves each row.
CREATE PROCEDURE house.make_sealed(target regclass, service text, why text) LANGUAGE plpgsql AS $$
BEGIN
    CALL house.make_record(target, service, why);
    EXECUTE format('COMMENT ON TABLE %s IS %L', target, 'sealed: ' || why);
END $$;

CREATE TABLE audit.sealed (
    position bigint PRIMARY KEY CHECK (position >= 0),
    leaf uuid NOT NULL UNIQUE,
    hash bytea NOT NULL CHECK (octet_length(hash) = 32)
);
CALL house.make_sealed('audit.sealed', 'hankbook_audit', 'the order of leaves, fixed at sealing');

-- Whole subtrees at every eighth level: a node at level 8 stands for 256 leaves.
CREATE TABLE audit.subtree (
    level integer NOT NULL CHECK (level > 0 AND level % 8 = 0),
    index bigint NOT NULL CHECK (index >= 0),
    hash bytea NOT NULL CHECK (octet_length(hash) = 32),
    PRIMARY KEY (level, index)
);
CALL house.make_sealed('audit.subtree', 'hankbook_audit', 'hashes of whole subtrees');

CREATE TABLE audit.checkpoint (
    size bigint PRIMARY KEY CHECK (size > 0),
    root bytea NOT NULL CHECK (octet_length(root) = 32),
    note text NOT NULL,
    key text NOT NULL,
    signed_at timestamptz NOT NULL
);
CALL house.make_sealed('audit.checkpoint', 'hankbook_audit', 'signed heads of the tree');

-- By what a sealed entry is found: its subject, its lots, who entered it.
CREATE TABLE audit.filed (
    key uuid NOT NULL,
    position bigint NOT NULL,
    PRIMARY KEY (key, position)
);
CALL house.make_state('audit.filed', 'hankbook_audit', 'sealed entries by what they name');

-- Where the next scan for unsealed leaves begins: what was seen, and in which cluster.
CREATE TABLE audit.scan (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    cluster text NOT NULL,
    seen text NOT NULL
);
CALL house.make_transient('audit.scan', 'hankbook_audit', 'which leaves the sealer has seen');

CREATE INDEX leaf_xid ON audit.leaf (xid);
CREATE INDEX leaf_day ON audit.leaf (day);

RESET ROLE;
