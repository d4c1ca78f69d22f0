-- Materials with their specifications, products, labels, formulas, batch sheets and kits.

SET LOCAL ROLE hankbook_owner;

CREATE SCHEMA formulas;
CALL house.make_plumbing('formulas', 'hankbook_formulas');

CREATE TABLE formulas.material (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    kind text NOT NULL CHECK (kind IN ('meat', 'byproduct', 'poultry', 'liver', 'beef_cheek',
        'binder', 'other', 'water', 'rework', 'packaging')),
    in_use boolean NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('formulas.material');
CALL house.make_record('formulas.material', 'hankbook_formulas', 'a material, by version');

-- Names are unlike, because lots are told apart by them.
CREATE TABLE formulas.material_in_force (
    material uuid PRIMARY KEY,
    version integer NOT NULL,
    name text NOT NULL,
    FOREIGN KEY (material, version) REFERENCES formulas.material (id, version)
);
CREATE UNIQUE INDEX ON formulas.material_in_force (lower(name));
CALL house.make_state('formulas.material_in_force', 'hankbook_formulas',
    'the newest version of each material');

CREATE TABLE formulas.specification (
    id uuid PRIMARY KEY,
    material uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    -- One lot that differs; genealogy may not have made it yet.
    lot uuid,
    in_force_from timestamptz NOT NULL,
    content bytea NOT NULL,
    UNIQUE (material, version)
);
CALL house.add_stamp('formulas.specification');
CALL house.make_record('formulas.specification', 'hankbook_formulas',
    'what is known of a material or of one lot of it');

CREATE TABLE formulas.product (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    product_class text NOT NULL,
    standard_id text NOT NULL,
    in_use boolean NOT NULL,
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('formulas.product');
CALL house.make_record('formulas.product', 'hankbook_formulas', 'a product, by version');

CREATE TABLE formulas.label (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    item text NOT NULL CHECK (item <> ''),
    revision text NOT NULL CHECK (revision <> ''),
    statement text NOT NULL CHECK (statement <> ''),
    allergens text[] NOT NULL,
    in_force_from timestamptz NOT NULL,
    in_force_to timestamptz CHECK (in_force_to > in_force_from),
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('formulas.label');
CALL house.make_record('formulas.label', 'hankbook_formulas', 'a revision of a label, by version');

CREATE TABLE formulas.formula_draft (
    formula uuid PRIMARY KEY,
    version integer NOT NULL CHECK (version > 0),
    content bytea NOT NULL,
    edited_by text NOT NULL,
    edited_by_name text NOT NULL,
    edited_at timestamptz NOT NULL
);
CALL house.make_transient('formulas.formula_draft', 'hankbook_formulas', 'formulas not yet approved');

CREATE TABLE formulas.formula (
    id uuid NOT NULL,
    version integer NOT NULL CHECK (version > 0),
    record_id uuid NOT NULL UNIQUE,
    name text NOT NULL CHECK (name <> ''),
    product uuid NOT NULL,
    label uuid NOT NULL,
    -- The whole formula, and the warnings that the signer accepted.
    content bytea NOT NULL,
    warnings bytea NOT NULL,
    ticket uuid NOT NULL UNIQUE,
    PRIMARY KEY (id, version)
);
CALL house.add_stamp('formulas.formula');
CALL house.make_record('formulas.formula', 'hankbook_formulas', 'an approved version of a formula');

CREATE TABLE formulas.formula_in_force (
    formula uuid PRIMARY KEY,
    version integer NOT NULL,
    FOREIGN KEY (formula, version) REFERENCES formulas.formula (id, version)
);
CALL house.make_state('formulas.formula_in_force', 'hankbook_formulas',
    'the version of a formula that is in force');

CREATE TABLE formulas.batch_sheet (
    id uuid PRIMARY KEY,
    formula uuid NOT NULL,
    formula_version integer NOT NULL,
    content bytea NOT NULL,
    FOREIGN KEY (formula, formula_version) REFERENCES formulas.formula (id, version)
);
CALL house.add_stamp('formulas.batch_sheet');
CALL house.make_record('formulas.batch_sheet', 'hankbook_formulas', 'a formula scaled to a meat block');

CREATE TABLE formulas.kit (
    id uuid PRIMARY KEY,
    lot uuid NOT NULL UNIQUE,
    formula uuid NOT NULL,
    formula_version integer NOT NULL,
    content bytea NOT NULL,
    FOREIGN KEY (formula, formula_version) REFERENCES formulas.formula (id, version)
);
CALL house.add_stamp('formulas.kit');
CALL house.make_record('formulas.kit', 'hankbook_formulas', 'what a kit holds, and for what block');

CREATE TABLE formulas.kit_use (
    id uuid PRIMARY KEY,
    -- The kit's lot: used once.
    lot uuid NOT NULL UNIQUE REFERENCES formulas.kit (lot),
    batch uuid NOT NULL
);
CALL house.add_stamp('formulas.kit_use');
CALL house.make_record('formulas.kit_use', 'hankbook_formulas', 'the one batch that a kit went into');

RESET ROLE;
