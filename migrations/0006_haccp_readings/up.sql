-- Plans by version, readings judged at entry, deviations and their signed ends.

SET LOCAL ROLE hankbook_owner;

CREATE TABLE haccp.plan (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    binds text NOT NULL,
    content bytea NOT NULL,
    ticket uuid NOT NULL UNIQUE,
    recorded_at timestamptz NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.make_record('haccp.plan', 'hankbook_haccp', 'an approved plan, by version');

CREATE TABLE haccp.plan_in_force (
    plan uuid PRIMARY KEY,
    version integer NOT NULL,
    FOREIGN KEY (plan, version) REFERENCES haccp.plan (id, version)
);
CALL house.make_state('haccp.plan_in_force', 'hankbook_haccp', 'which version of a plan is in force');

CREATE TABLE haccp.lot_bound (
    lot uuid PRIMARY KEY REFERENCES genealogy.lot (id),
    plan uuid NOT NULL,
    version integer NOT NULL,
    FOREIGN KEY (plan, version) REFERENCES haccp.plan (id, version)
);
CALL house.make_state('haccp.lot_bound', 'hankbook_haccp', 'to which version of a plan a lot is bound');

CREATE TABLE haccp.reading (
    id uuid PRIMARY KEY,
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    check_code text NOT NULL,
    readings numeric[] NOT NULL CHECK (cardinality(readings) BETWEEN 1 AND 100),
    unit text NOT NULL,
    verdict text NOT NULL CHECK (verdict IN ('PASS', 'FAIL')),
    supersedes uuid REFERENCES haccp.reading (id),
    reason text CHECK (reason <> ''),
    ticket uuid UNIQUE,
    observed_at timestamptz NOT NULL,
    entered_at timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    offset_ms bigint NOT NULL,
    happened boolean NOT NULL,
    day date NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    station text NOT NULL,
    note text NOT NULL,
    fingerprint bytea NOT NULL,
    FOREIGN KEY (plan, plan_version) REFERENCES haccp.plan (id, version),
    -- An amendment names what it supersedes, why, and who signed; a first reading none of these.
    CHECK ((supersedes IS NULL) = (reason IS NULL) AND (supersedes IS NULL) = (ticket IS NULL))
);
CALL house.make_record('haccp.reading', 'hankbook_haccp', 'a reading or an amendment of one');
CREATE INDEX ON haccp.reading (supersedes) WHERE supersedes IS NOT NULL;

CREATE TABLE haccp.reading_lot (
    reading uuid NOT NULL REFERENCES haccp.reading (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, reading)
);
CALL house.make_link('haccp.reading_lot', 'hankbook_haccp', 'the lots of a reading');
CREATE INDEX ON haccp.reading_lot (reading);

CREATE TABLE haccp.deviation (
    id uuid PRIMARY KEY,
    reading uuid NOT NULL UNIQUE REFERENCES haccp.reading (id),
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    check_code text NOT NULL,
    hazard text NOT NULL,
    is_ccp boolean NOT NULL,
    what text NOT NULL,
    recorded_at timestamptz NOT NULL,
    FOREIGN KEY (plan, plan_version) REFERENCES haccp.plan (id, version)
);
CALL house.make_record('haccp.deviation', 'hankbook_haccp', 'a deviation as it opened');

CREATE TABLE haccp.deviation_lot (
    deviation uuid NOT NULL REFERENCES haccp.deviation (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, deviation)
);
CALL house.make_link('haccp.deviation_lot', 'hankbook_haccp', 'the lots of a deviation');
CREATE INDEX ON haccp.deviation_lot (deviation);

CREATE TABLE haccp.deviation_end (
    id uuid PRIMARY KEY,
    deviation uuid NOT NULL UNIQUE REFERENCES haccp.deviation (id),
    cause text NOT NULL CHECK (cause <> ''),
    control text NOT NULL CHECK (control <> ''),
    prevention text NOT NULL CHECK (prevention <> ''),
    disposition text NOT NULL,
    disposition_text text NOT NULL CHECK (disposition_text <> ''),
    ticket uuid NOT NULL UNIQUE,
    recorded_at timestamptz NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    fingerprint bytea NOT NULL
);
CALL house.make_record('haccp.deviation_end', 'hankbook_haccp', 'the signed end of a deviation');

RESET ROLE;
