-- The house that all services share: roles, schemas, the three classes of tables, the leaves.

DO $$
DECLARE
    name text;
BEGIN
    FOREACH name IN ARRAY ARRAY['owner', 'audit', 'formulas', 'genealogy', 'haccp', 'identity', 'yields']
    LOOP
        BEGIN
            EXECUTE format('CREATE ROLE hankbook_%s %s', name,
                CASE name WHEN 'owner' THEN 'NOLOGIN' ELSE 'LOGIN' END);
        EXCEPTION WHEN duplicate_object OR unique_violation THEN
            NULL; -- roles belong to the cluster: another database made it
        END;
    END LOOP;
END $$;

-- Whoever migrates acts for the owner, and (with one connection text for all) for each service.
DO $$
DECLARE
    name text;
BEGIN
    IF NOT (SELECT rolsuper FROM pg_roles WHERE rolname = current_user) THEN
        FOREACH name IN ARRAY ARRAY['owner', 'audit', 'formulas', 'genealogy', 'haccp', 'identity', 'yields']
        LOOP
            EXECUTE format('GRANT hankbook_%s TO CURRENT_USER', name);
        END LOOP;
    END IF;
    EXECUTE format('GRANT CREATE ON DATABASE %I TO hankbook_owner', current_database());
END $$;

SET LOCAL ROLE hankbook_owner;

CREATE SCHEMA house;
CREATE SCHEMA audit;
CREATE SCHEMA genealogy;
CREATE SCHEMA haccp;
CREATE SCHEMA identity;
GRANT USAGE ON SCHEMA house, audit TO
    hankbook_audit, hankbook_formulas, hankbook_genealogy, hankbook_haccp, hankbook_identity, hankbook_yields;

-- A mistake by the owner must not change what was recorded.
CREATE FUNCTION house.refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'records are never changed or removed: %.%', TG_TABLE_SCHEMA, TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$;

-- Marks a table as a record: facts, inserted once.
CREATE PROCEDURE house.make_record(target regclass, service text, why text) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('COMMENT ON TABLE %s IS %L', target, 'record: ' || why);
    EXECUTE format('GRANT SELECT, INSERT ON %s TO %I', target, service);
    EXECUTE format('CREATE TRIGGER refuse_change BEFORE UPDATE OR DELETE ON %s '
        'FOR EACH ROW EXECUTE FUNCTION house.refuse_change()', target);
    EXECUTE format('CREATE TRIGGER refuse_truncate BEFORE TRUNCATE ON %s '
        'FOR EACH STATEMENT EXECUTE FUNCTION house.refuse_change()', target);
END $$;

-- Marks a table as a record's side table: links inserted with it, without a leaf of their own.
CREATE PROCEDURE house.make_link(target regclass, service text, why text) LANGUAGE plpgsql AS $$
BEGIN
    CALL house.make_record(target, service, why);
    EXECUTE format('COMMENT ON TABLE %s IS %L', target, 'link: ' || why);
END $$;

-- Marks a table as state: derived, always equal to a replay of records.
CREATE PROCEDURE house.make_state(target regclass, service text, why text) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('COMMENT ON TABLE %s IS %L', target, 'state: ' || why);
    EXECUTE format('GRANT SELECT, INSERT, UPDATE ON %s TO %I', target, service);
END $$;

-- Marks a table as transient: drafts, sessions, keys; no leaf.
CREATE PROCEDURE house.make_transient(target regclass, service text, why text) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('COMMENT ON TABLE %s IS %L', target, 'transient: ' || why);
    EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %s TO %I', target, service);
END $$;

-- What every service's schema has: kept answers and owed messages.
CREATE PROCEDURE house.make_plumbing(area text, service text) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('GRANT USAGE ON SCHEMA %I TO %I', area, service);
    EXECUTE format($q$
        CREATE TABLE %1$I.idempotency (
            scope text NOT NULL,
            key text NOT NULL,
            method text NOT NULL,
            fingerprint bytea NOT NULL,
            answer bytea NOT NULL,
            kept_at timestamptz NOT NULL,
            PRIMARY KEY (scope, key)
        )$q$, area);
    EXECUTE format('CREATE INDEX ON %I.idempotency (kept_at)', area);
    EXECUTE format($q$
        CREATE TABLE %1$I.outbox (
            id uuid PRIMARY KEY,
            subject text NOT NULL,
            method text NOT NULL,
            body bytea NOT NULL,
            tries integer NOT NULL DEFAULT 0,
            not_before timestamptz NOT NULL DEFAULT clock_timestamp(),
            made_at timestamptz NOT NULL DEFAULT clock_timestamp()
        )$q$, area);
    EXECUTE format('CREATE INDEX ON %I.outbox (subject, id)', area);
    CALL house.make_transient(format('%I.idempotency', area)::regclass, service,
        'answers kept so that a repeated write is harmless');
    CALL house.make_transient(format('%I.outbox', area)::regclass, service,
        'messages owed to other services');
END $$;

-- Two numbers decide whether a process may start.
CREATE TABLE house.release (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    schema_number integer NOT NULL,
    oldest_binary integer NOT NULL CHECK (oldest_binary <= schema_number)
);
COMMENT ON TABLE house.release IS 'transient: which schema this is and which binaries may use it';
GRANT SELECT ON house.release TO PUBLIC;

-- The canonical entry of every record, one row each, in the transaction that writes the record.
CREATE TABLE audit.leaf (
    id uuid PRIMARY KEY,
    xid xid8 NOT NULL DEFAULT pg_current_xact_id(),
    form text NOT NULL,
    subject text NOT NULL,
    day date NOT NULL,
    recorded_at timestamptz NOT NULL,
    entry text NOT NULL,
    hash bytea NOT NULL CHECK (octet_length(hash) = 32)
);
CALL house.make_record('audit.leaf', 'hankbook_audit', 'what the sealed tree is made of');
GRANT INSERT ON audit.leaf TO
    hankbook_formulas, hankbook_genealogy, hankbook_haccp, hankbook_identity, hankbook_yields;

-- The mark of the plant: whether its clock is simulated can never be changed.
CREATE TABLE house.plant (
    id uuid PRIMARY KEY,
    is_simulated boolean NOT NULL,
    made_at timestamptz NOT NULL
);
CREATE UNIQUE INDEX one_plant ON house.plant ((true));
CALL house.make_record('house.plant', 'hankbook_identity', 'the mark of a real or simulated plant');
GRANT SELECT ON house.plant TO PUBLIC;

RESET ROLE;
