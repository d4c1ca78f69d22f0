-- Lots that a sheet may suggest, by what they are called; the newest kits of a formula version.
SET LOCAL ROLE hankbook_owner;

CREATE INDEX lot_material ON genealogy.lot (lower(material))
    WHERE kind IN ('received', 'opening_stock', 'rework');
CREATE INDEX ON formulas.kit (formula, formula_version, id);

RESET ROLE;
