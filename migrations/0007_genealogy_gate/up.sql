-- Lots that are made of lots, cases, pallets, shipments, transfers; holds by cases and by span.

SET LOCAL ROLE hankbook_owner;

-- What every record has besides its own columns.
CREATE PROCEDURE house.add_stamp(target regclass) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('ALTER TABLE %s '
        'ADD COLUMN recorded_at timestamptz NOT NULL, ADD COLUMN day date NOT NULL, '
        'ADD COLUMN entered_by text NOT NULL, ADD COLUMN entered_by_name text NOT NULL, '
        'ADD COLUMN station text NOT NULL, ADD COLUMN fingerprint bytea NOT NULL', target);
END $$;
-- What a record of something observed has besides.
CREATE PROCEDURE house.add_moments(target regclass) LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('ALTER TABLE %s '
        'ADD COLUMN observed_at timestamptz NOT NULL, ADD COLUMN entered_at timestamptz NOT NULL, '
        'ADD COLUMN offset_ms bigint NOT NULL, ADD COLUMN happened boolean NOT NULL', target);
END $$;

-- Only a received lot has a supplier; a lot recorded as it happened may have no plan.
ALTER TABLE genealogy.lot DROP CONSTRAINT lot_kind_check;
ALTER TABLE genealogy.lot ADD CONSTRAINT lot_kind_check CHECK (kind IN
    ('received', 'kit', 'batch', 'rack', 'finished', 'rework', 'opening_stock'));
ALTER TABLE genealogy.lot
    ALTER COLUMN supplier DROP NOT NULL,
    ALTER COLUMN supplier_version DROP NOT NULL,
    ALTER COLUMN supplier_name DROP NOT NULL,
    ALTER COLUMN supplier_lot DROP NOT NULL,
    ALTER COLUMN plan DROP NOT NULL,
    ALTER COLUMN plan_version DROP NOT NULL,
    ALTER COLUMN plan_name DROP NOT NULL,
    -- The transformation or the opening statement that made it.
    ADD COLUMN made_by uuid,
    -- The last day on which it may be used; NULL where nobody named one.
    ADD COLUMN use_by date,
    ADD CONSTRAINT lot_supplier_check CHECK ((kind = 'received') = (supplier IS NOT NULL)
        AND (supplier IS NULL) = (supplier_version IS NULL)
        AND (supplier IS NULL) = (supplier_name IS NULL)
        AND (supplier IS NULL) = (supplier_lot IS NULL)),
    ADD CONSTRAINT lot_plan_check CHECK ((plan IS NULL) = (plan_version IS NULL)
        AND (plan IS NULL) = (plan_name IS NULL) AND (plan IS NOT NULL OR happened)),
    ADD CONSTRAINT lot_made_by_check CHECK ((kind = 'received') = (made_by IS NULL));
CREATE INDEX ON genealogy.lot (made_by) WHERE made_by IS NOT NULL;

CREATE TABLE genealogy.transformation (
    id uuid PRIMARY KEY,
    -- What was done: weigh_up, mix, rack, pack_off, rework.
    kind text NOT NULL,
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    -- Water and process aids that no lot tracks: [{"name", "value", "unit", "g"}], numbers as text.
    additions jsonb NOT NULL,
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.add_stamp('genealogy.transformation');
CALL house.add_moments('genealogy.transformation');
CALL house.make_record('genealogy.transformation', 'hankbook_genealogy',
    'lots used up, in whole or part, to make lots');

-- An input that was added after the transformation was recorded.
CREATE TABLE genealogy.input_added (
    id uuid PRIMARY KEY,
    transformation uuid NOT NULL REFERENCES genealogy.transformation (id),
    reason text NOT NULL CHECK (reason <> '')
);
CALL house.add_stamp('genealogy.input_added');
CALL house.add_moments('genealogy.input_added');
CALL house.make_record('genealogy.input_added', 'hankbook_genealogy',
    'an input that a transformation got later');

CREATE TABLE genealogy.transformation_input (
    -- The transformation itself, or the record that added the input.
    record uuid NOT NULL,
    transformation uuid NOT NULL REFERENCES genealogy.transformation (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    mass_value numeric NOT NULL CHECK (mass_value > 0),
    mass_unit text NOT NULL,
    mass_g numeric NOT NULL CHECK (mass_g > 0),
    -- What was on hand covered: less than the mass where a fact told of more than there was.
    taken_g numeric NOT NULL CHECK (taken_g BETWEEN 0 AND mass_g),
    PRIMARY KEY (record, lot)
);
CALL house.make_link('genealogy.transformation_input', 'hankbook_genealogy',
    'what a transformation used');
CREATE INDEX ON genealogy.transformation_input (transformation);
CREATE INDEX ON genealogy.transformation_input (lot);

CREATE TABLE genealogy.opening_statement (
    id uuid PRIMARY KEY,
    statement text NOT NULL CHECK (statement <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('genealogy.opening_statement');
CALL house.make_record('genealogy.opening_statement', 'hankbook_genealogy',
    'the signed statement that stands for all before a lot of opening stock');

CREATE TABLE genealogy.destruction (
    id uuid PRIMARY KEY,
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    mass_value numeric NOT NULL CHECK (mass_value > 0),
    mass_unit text NOT NULL,
    mass_g numeric NOT NULL CHECK (mass_g > 0),
    deviation uuid,
    reason text NOT NULL CHECK (reason <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('genealogy.destruction');
CALL house.add_moments('genealogy.destruction');
CALL house.make_record('genealogy.destruction', 'hankbook_genealogy', 'product destroyed, signed');

CREATE TABLE genealogy.packing (
    id uuid PRIMARY KEY,
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    -- The line and detector that the cases passed.
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.add_stamp('genealogy.packing');
CALL house.add_moments('genealogy.packing');
CALL house.make_record('genealogy.packing', 'hankbook_genealogy', 'cases packed of a finished lot');

CREATE TABLE genealogy.packed_case (
    serial text PRIMARY KEY CHECK (serial <> ''),
    packing uuid NOT NULL REFERENCES genealogy.packing (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    mass_value numeric NOT NULL CHECK (mass_value > 0),
    mass_unit text NOT NULL,
    mass_g numeric NOT NULL CHECK (mass_g > 0),
    packed_at timestamptz NOT NULL
);
CALL house.make_link('genealogy.packed_case', 'hankbook_genealogy', 'a case with its packing time');
CREATE INDEX ON genealogy.packed_case (lot);
CREATE INDEX ON genealogy.packed_case (packing);

CREATE TABLE genealogy.rerun (
    id uuid PRIMARY KEY,
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    note text NOT NULL,
    -- The hold on those rejected.
    hold uuid REFERENCES genealogy.hold (id),
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.add_stamp('genealogy.rerun');
CALL house.add_moments('genealogy.rerun');
CALL house.make_record('genealogy.rerun', 'hankbook_genealogy',
    'cases that passed a detector or check again');

CREATE TABLE genealogy.rerun_case (
    rerun uuid NOT NULL REFERENCES genealogy.rerun (id),
    serial text NOT NULL REFERENCES genealogy.packed_case (serial),
    is_rejected boolean NOT NULL,
    passed_at timestamptz NOT NULL,
    PRIMARY KEY (serial, rerun)
);
CALL house.make_link('genealogy.rerun_case', 'hankbook_genealogy', 'the cases of a rerun');
CREATE INDEX ON genealogy.rerun_case (rerun);

CREATE TABLE genealogy.pallet (
    id uuid PRIMARY KEY,
    label text NOT NULL UNIQUE CHECK (label <> ''),
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.add_stamp('genealogy.pallet');
CALL house.add_moments('genealogy.pallet');
CALL house.make_record('genealogy.pallet', 'hankbook_genealogy', 'a pallet as it was built');

-- Cases that came onto or went off a pallet after it was built.
CREATE TABLE genealogy.pallet_change (
    id uuid PRIMARY KEY,
    pallet uuid NOT NULL REFERENCES genealogy.pallet (id),
    reason text NOT NULL
);
CALL house.add_stamp('genealogy.pallet_change');
CALL house.add_moments('genealogy.pallet_change');
CALL house.make_record('genealogy.pallet_change', 'hankbook_genealogy',
    'cases put on or taken off a pallet');

CREATE TABLE genealogy.pallet_case (
    -- The pallet itself, or the change.
    record uuid NOT NULL,
    pallet uuid NOT NULL REFERENCES genealogy.pallet (id),
    serial text NOT NULL REFERENCES genealogy.packed_case (serial),
    is_on boolean NOT NULL,
    PRIMARY KEY (record, serial)
);
CALL house.make_link('genealogy.pallet_case', 'hankbook_genealogy', 'cases put on or taken off');
CREATE INDEX ON genealogy.pallet_case (serial);
CREATE INDEX ON genealogy.pallet_case (pallet);

CREATE TABLE genealogy.shipment (
    id uuid PRIMARY KEY,
    customer uuid NOT NULL,
    customer_version integer NOT NULL,
    customer_name text NOT NULL,
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    truck text NOT NULL,
    -- What haccp answered, by the id of its answer; NULL for a fact that nobody could be asked of.
    clearance uuid,
    -- True: it had left before it was cleared; its reasons stand here and as open items.
    is_unclear boolean NOT NULL,
    -- [{"code", "subject", "message", "who", "way_on"}].
    reasons jsonb NOT NULL,
    -- How many lots stood behind it, all ancestors included.
    closure_lots integer NOT NULL CHECK (closure_lots > 0),
    FOREIGN KEY (customer, customer_version) REFERENCES genealogy.partner (id, version),
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version),
    CHECK (is_unclear OR clearance IS NOT NULL)
);
CALL house.add_stamp('genealogy.shipment');
CALL house.add_moments('genealogy.shipment');
CALL house.make_record('genealogy.shipment', 'hankbook_genealogy', 'what left for a customer');

CREATE TABLE genealogy.shipment_case (
    shipment uuid NOT NULL REFERENCES genealogy.shipment (id),
    serial text NOT NULL UNIQUE REFERENCES genealogy.packed_case (serial),
    pallet uuid NOT NULL REFERENCES genealogy.pallet (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (shipment, serial)
);
CALL house.make_link('genealogy.shipment_case', 'hankbook_genealogy', 'the cases of a shipment');
CREATE INDEX ON genealogy.shipment_case (lot);
CREATE TABLE genealogy.shipment_lot (
    shipment uuid NOT NULL REFERENCES genealogy.shipment (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    mass_g numeric NOT NULL CHECK (mass_g > 0),
    -- What was on hand covered: less than the mass where a fact told of more than there was.
    taken_g numeric NOT NULL CHECK (taken_g BETWEEN 0 AND mass_g),
    PRIMARY KEY (lot, shipment)
);
CALL house.make_link('genealogy.shipment_lot', 'hankbook_genealogy', 'what of a lot was shipped');
CREATE INDEX ON genealogy.shipment_lot (shipment);

-- Where each case is: on a pallet, gone with a shipment, or destroyed.
CREATE TABLE genealogy.case_state (
    serial text PRIMARY KEY REFERENCES genealogy.packed_case (serial),
    pallet uuid REFERENCES genealogy.pallet (id),
    shipment uuid REFERENCES genealogy.shipment (id),
    destruction uuid REFERENCES genealogy.destruction (id),
    CHECK (num_nonnulls(shipment, destruction) <= 1)
);
CALL house.make_state('genealogy.case_state', 'hankbook_genealogy', 'where a case is');
CREATE INDEX ON genealogy.case_state (pallet);

CREATE TABLE genealogy.destroyed_case (
    destruction uuid NOT NULL REFERENCES genealogy.destruction (id),
    serial text NOT NULL UNIQUE REFERENCES genealogy.packed_case (serial),
    PRIMARY KEY (destruction, serial)
);
CALL house.make_link('genealogy.destroyed_case', 'hankbook_genealogy', 'the cases destroyed');

CREATE TABLE genealogy.transfer (
    id uuid PRIMARY KEY,
    place uuid NOT NULL,
    place_version integer NOT NULL,
    place_name text NOT NULL,
    FOREIGN KEY (place, place_version) REFERENCES genealogy.place (id, version)
);
CALL house.add_stamp('genealogy.transfer');
CALL house.add_moments('genealogy.transfer');
CALL house.make_record('genealogy.transfer', 'hankbook_genealogy',
    'a move to another place of the plant; holds go along');

CREATE TABLE genealogy.transfer_lot (
    transfer uuid NOT NULL REFERENCES genealogy.transfer (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, transfer)
);
CALL house.make_link('genealogy.transfer_lot', 'hankbook_genealogy', 'lots moved');
CREATE INDEX ON genealogy.transfer_lot (transfer);

CREATE TABLE genealogy.transfer_pallet (
    transfer uuid NOT NULL REFERENCES genealogy.transfer (id),
    pallet uuid NOT NULL REFERENCES genealogy.pallet (id),
    PRIMARY KEY (pallet, transfer)
);
CALL house.make_link('genealogy.transfer_pallet', 'hankbook_genealogy', 'pallets moved');
CREATE INDEX ON genealogy.transfer_pallet (transfer);

-- Something that somebody must look at, and its end.
CREATE TABLE genealogy.open_item (
    id uuid PRIMARY KEY,
    -- A word for machines: MORE_THAN_ON_HAND, USED_ON_HOLD, SHIPPED_UNCLEAR.
    code text NOT NULL,
    -- The record that it is about.
    record uuid NOT NULL,
    what text NOT NULL CHECK (what <> '')
);
CALL house.add_stamp('genealogy.open_item');
CALL house.make_record('genealogy.open_item', 'hankbook_genealogy',
    'what a fact has broken, to be looked at');
CREATE TABLE genealogy.open_item_lot (
    open_item uuid NOT NULL REFERENCES genealogy.open_item (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, open_item)
);
CALL house.make_link('genealogy.open_item_lot', 'hankbook_genealogy', 'the lots of an open item');
CREATE INDEX ON genealogy.open_item_lot (open_item);
CREATE TABLE genealogy.open_item_end (
    id uuid PRIMARY KEY,
    open_item uuid NOT NULL UNIQUE REFERENCES genealogy.open_item (id),
    answer text NOT NULL CHECK (answer <> ''),
    ticket uuid NOT NULL UNIQUE
);
CALL house.add_stamp('genealogy.open_item_end');
CALL house.make_record('genealogy.open_item_end', 'hankbook_genealogy',
    'the signed answer to an open item');

-- What became less safe after it had left: once a message, with whom to call.
CREATE TABLE genealogy.after_shipment (
    id uuid PRIMARY KEY,
    what text NOT NULL CHECK (what <> ''),
    -- What the message told of: deviation:ID, reading:ID.
    about text NOT NULL
);
CALL house.add_stamp('genealogy.after_shipment');
CALL house.make_record('genealogy.after_shipment', 'hankbook_genealogy',
    'a failing record after shipment');
CREATE TABLE genealogy.after_shipment_case (
    after_shipment uuid NOT NULL REFERENCES genealogy.after_shipment (id),
    shipment uuid NOT NULL,
    serial text NOT NULL,
    PRIMARY KEY (after_shipment, serial),
    FOREIGN KEY (shipment, serial) REFERENCES genealogy.shipment_case (shipment, serial)
);
CALL house.make_link('genealogy.after_shipment_case', 'hankbook_genealogy',
    'the cases that it concerns');

-- A message that could not be carried out is never dropped: it stands here and is counted.
CREATE TABLE genealogy.refused_message (
    id uuid PRIMARY KEY,
    method text NOT NULL,
    reason text NOT NULL
);
CALL house.add_stamp('genealogy.refused_message');
CALL house.make_record('genealogy.refused_message', 'hankbook_genealogy',
    'a message of another service that was refused');
CREATE TABLE genealogy.refused_message_lot (
    refused_message uuid NOT NULL REFERENCES genealogy.refused_message (id),
    lot uuid NOT NULL REFERENCES genealogy.lot (id),
    PRIMARY KEY (lot, refused_message)
);
CALL house.make_link('genealogy.refused_message_lot', 'hankbook_genealogy',
    'the lots of a refused message');
CREATE INDEX ON genealogy.refused_message_lot (refused_message);

-- Holds by named cases, and by a span of passing time at a place.
ALTER TABLE genealogy.hold DROP CONSTRAINT hold_scope_check;
ALTER TABLE genealogy.hold DROP CONSTRAINT hold_check;
ALTER TABLE genealogy.hold
    ADD COLUMN place uuid,
    ADD COLUMN span_from timestamptz,
    ADD COLUMN span_to timestamptz,
    ADD CONSTRAINT hold_scope_check CHECK (scope IN ('whole', 'what_is_left', 'cases', 'span')),
    ADD CONSTRAINT hold_span_check CHECK ((scope = 'span') = (place IS NOT NULL)
        AND (place IS NULL) = (span_to IS NULL) AND (span_from IS NULL OR span_from < span_to)),
    -- Only a signature, or the bracket rule of a deviation, narrows a hold.
    ADD CONSTRAINT hold_narrowed_check CHECK (CASE scope WHEN 'whole' THEN ticket IS NULL
        ELSE ticket IS NOT NULL OR deviation IS NOT NULL OR entered_by LIKE 'system/%' END);
CREATE TABLE genealogy.hold_case (
    hold uuid NOT NULL REFERENCES genealogy.hold (id),
    serial text NOT NULL REFERENCES genealogy.packed_case (serial),
    PRIMARY KEY (serial, hold)
);
CALL house.make_link('genealogy.hold_case', 'hankbook_genealogy', 'the cases of a hold');
CREATE INDEX ON genealogy.hold_case (hold);

RESET ROLE;
