-- Partners and places by version: whom the plant buys from and sells to, and where things stand.

SET LOCAL ROLE hankbook_owner;

CALL house.make_plumbing('genealogy', 'hankbook_genealogy');

CREATE TABLE genealogy.place (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    kind text NOT NULL,
    in_use boolean NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.make_record('genealogy.place', 'hankbook_genealogy', 'a place of the plant, by version');

CREATE TABLE genealogy.partner (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    is_supplier boolean NOT NULL,
    is_customer boolean NOT NULL,
    address text NOT NULL,
    phone text NOT NULL,
    in_use boolean NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    recorded_at timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    PRIMARY KEY (id, version),
    CHECK (is_supplier OR is_customer)
);
CALL house.make_record('genealogy.partner', 'hankbook_genealogy', 'a supplier or customer, by version');

RESET ROLE;
