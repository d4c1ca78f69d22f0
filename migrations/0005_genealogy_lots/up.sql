-- Received lots, what is on hand of each, how safe each is known to be, and holds.

SET LOCAL ROLE hankbook_owner;

CREATE TABLE genealogy.lot (
    id uuid PRIMARY KEY,
    code text NOT NULL UNIQUE,
    kind text NOT NULL CHECK (kind IN ('received')),
    material text NOT NULL CHECK (material <> ''),
    supplier uuid NOT NULL,
    supplier_version integer NOT NULL,
    supplier_name text NOT NULL,
    supplier_lot text NOT NULL CHECK (supplier_lot <> ''),
    mass_value numeric NOT NULL CHECK (mass_value > 0),
    mass_unit text NOT NULL,
    mass_g numeric NOT NULL CHECK (mass_g > 0),
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    plan uuid NOT NULL,
    plan_version integer NOT NULL,
    plan_name text NOT NULL,
    observed_at timestamptz NOT NULL,
    entered_at timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    offset_ms bigint NOT NULL,
    happened boolean NOT NULL,
    day date NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    station text NOT NULL,
    fingerprint bytea NOT NULL,
    FOREIGN KEY (supplier, supplier_version) REFERENCES genealogy.partner (id, version),
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.make_record('genealogy.lot', 'hankbook_genealogy', 'a lot as it was made');
-- The one table that other schemas may point at.
GRANT USAGE ON SCHEMA genealogy TO hankbook_haccp;
GRANT REFERENCES ON genealogy.lot TO hankbook_owner;

CREATE TABLE genealogy.lot_on_hand (
    lot uuid PRIMARY KEY REFERENCES genealogy.lot (id),
    on_hand_g numeric NOT NULL CHECK (on_hand_g >= 0)
);
CALL house.make_state('genealogy.lot_on_hand', 'hankbook_genealogy', 'what is left of a lot');

-- One row a lot, and the plant's own row under the nil id. A write that makes a lot less safe adds 1.
CREATE TABLE genealogy.lot_safety (
    lot uuid PRIMARY KEY,
    version bigint NOT NULL CHECK (version >= 1)
);
CALL house.make_state('genealogy.lot_safety', 'hankbook_genealogy', 'how often a lot became less safe');
GRANT SELECT, UPDATE (version) ON genealogy.lot_safety TO hankbook_haccp, hankbook_formulas;
GRANT USAGE ON SCHEMA genealogy TO hankbook_formulas;
CREATE FUNCTION genealogy.safety_grows_by_one() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.lot <> OLD.lot OR NEW.version <> OLD.version + 1 THEN
        RAISE EXCEPTION 'the safety version of % grows by 1', OLD.lot
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER grows_by_one BEFORE UPDATE ON genealogy.lot_safety
    FOR EACH ROW EXECUTE FUNCTION genealogy.safety_grows_by_one();
INSERT INTO genealogy.lot_safety (lot, version) VALUES ('00000000-0000-0000-0000-000000000000', 1);

-- A series is a production day, or 'for ever' where the plant's codes name no day.
CREATE TABLE genealogy.lot_code_counter (
    series text PRIMARY KEY,
    last integer NOT NULL CHECK (last > 0)
);
CALL house.make_transient('genealogy.lot_code_counter', 'hankbook_genealogy',
    'the last running number of a series of lot codes');

CREATE TABLE genealogy.hold (
    id uuid PRIMARY KEY,
    reason text NOT NULL CHECK (reason <> ''),
    deviation uuid UNIQUE,
    scope text NOT NULL CHECK (scope IN ('whole', 'what_is_left')),
    ticket uuid UNIQUE,
    recorded_at timestamptz NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    fingerprint bytea NOT NULL,
    -- Only a signature narrows a hold.
    CHECK ((scope = 'what_is_left') = (ticket IS NOT NULL))
);
CALL house.make_record('genealogy.hold', 'hankbook_genealogy', 'a hold as it was placed');

CREATE TABLE genealogy.hold_lot (
    hold uuid NOT NULL REFERENCES genealogy.hold (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, hold)
);
CALL house.make_link('genealogy.hold_lot', 'hankbook_genealogy', 'the lots of a hold');
CREATE INDEX ON genealogy.hold_lot (hold);

CREATE TABLE genealogy.hold_end (
    id uuid PRIMARY KEY,
    hold uuid NOT NULL UNIQUE REFERENCES genealogy.hold (id),
    reason text NOT NULL CHECK (reason <> ''),
    -- Whose signature ended it: with a ticket here, or at the closing of its deviation.
    signed_by_name text NOT NULL CHECK (signed_by_name <> ''),
    ticket uuid UNIQUE,
    recorded_at timestamptz NOT NULL,
    entered_by text NOT NULL,
    entered_by_name text NOT NULL,
    fingerprint bytea NOT NULL
);
CALL house.make_record('genealogy.hold_end', 'hankbook_genealogy', 'the signed end of a hold');

RESET ROLE;
