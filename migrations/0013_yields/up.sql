-- Scales, weighings with their amendments, and what lots cost.

SET LOCAL ROLE hankbook_owner;

CREATE SCHEMA yields;
CALL house.make_plumbing('yields', 'hankbook_yields');

CREATE TABLE yields.scale (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    division numeric NOT NULL CHECK (division > 0),
    unit text NOT NULL,
    in_use boolean NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('yields.scale');
CALL house.make_record('yields.scale', 'hankbook_yields', 'a scale, by version');

CREATE TABLE yields.weighing (
    id uuid PRIMARY KEY,
    -- NULL where nobody named one.
    stage text CHECK (stage IN ('received', 'block', 'mixed', 'stuffed', 'dried', 'smoked',
        'chilled', 'peeled', 'packed')),
    gross numeric NOT NULL,
    tare numeric NOT NULL CHECK (tare >= 0),
    net numeric NOT NULL CHECK (net > 0),
    unit text NOT NULL,
    scale uuid,
    scale_version integer,
    scale_name text,
    note text NOT NULL,
    supersedes uuid REFERENCES yields.weighing (id),
    reason text CHECK (reason <> ''),
    ticket uuid UNIQUE,
    FOREIGN KEY (scale, scale_version) REFERENCES yields.scale (id, version),
    CHECK (net = gross - tare),
    CHECK ((scale IS NULL) = (scale_version IS NULL) AND (scale IS NULL) = (scale_name IS NULL)),
    -- An amendment names what it supersedes, why, and who signed; a first weighing none of these.
    CHECK ((supersedes IS NULL) = (reason IS NULL) AND (supersedes IS NULL) = (ticket IS NULL))
);
CALL house.add_stamp('yields.weighing');
CALL house.add_moments('yields.weighing');
CALL house.make_record('yields.weighing', 'hankbook_yields', 'a weighing or an amendment of one');
CREATE INDEX ON yields.weighing (supersedes) WHERE supersedes IS NOT NULL;

CREATE TABLE yields.weighing_lot (
    weighing uuid NOT NULL REFERENCES yields.weighing (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, weighing)
);
CALL house.make_link('yields.weighing_lot', 'hankbook_yields', 'what was weighed together');
CREATE INDEX ON yields.weighing_lot (weighing);

CREATE TABLE yields.cost (
    id uuid PRIMARY KEY,
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    version integer NOT NULL CHECK (version > 0),
    amount_minor numeric NOT NULL CHECK (amount_minor >= 0 AND amount_minor = trunc(amount_minor)),
    currency text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'),
    per_value numeric NOT NULL CHECK (per_value > 0),
    per_unit text NOT NULL,
    source text NOT NULL CHECK (source <> ''),
    UNIQUE (lot, version)
);
CALL house.add_stamp('yields.cost');
CALL house.make_record('yields.cost', 'hankbook_yields', 'what a lot cost, by version');

RESET ROLE;
