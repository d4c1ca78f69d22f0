-- Batches as their formula judged them; the label on cases; what formulas said of a shipment.

SET LOCAL ROLE hankbook_owner;

CREATE TABLE genealogy.batch (
    id uuid PRIMARY KEY,
    transformation uuid NOT NULL REFERENCES genealogy.transformation (id),
    -- The transformation itself, or the added input for which it was judged anew.
    cause uuid NOT NULL UNIQUE,
    formula uuid NOT NULL,
    formula_version integer NOT NULL CHECK (formula_version > 0),
    hold_for_label boolean NOT NULL,
    -- The id of the answer of formulas.
    answer uuid NOT NULL,
    -- What was asked, without the origins of rework; and what was answered.
    question bytea NOT NULL,
    judgement bytea NOT NULL
);
CREATE INDEX ON genealogy.batch (transformation);
CALL house.add_stamp('genealogy.batch');
CALL house.make_record('genealogy.batch', 'hankbook_genealogy',
    'a batch as its formula judged it before the tip');

-- The revision that was scanned; empty where it was not.
ALTER TABLE genealogy.packing ADD COLUMN label_revision text NOT NULL DEFAULT '';
ALTER TABLE genealogy.packing ALTER COLUMN label_revision DROP DEFAULT;

-- What formulas answered of the labels, by the id of its answer; NULL for a fact that nobody could
-- be asked of. Shipments of programs before this one had no such answer.
ALTER TABLE genealogy.shipment ADD COLUMN label_cover uuid;
ALTER TABLE genealogy.shipment ADD CONSTRAINT shipment_label_cover_check
    CHECK (is_unclear OR label_cover IS NOT NULL) NOT VALID;

RESET ROLE;
