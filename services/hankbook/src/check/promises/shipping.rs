//! What the tables of cases, pallets and shipments promise, each as one statement.
//! It never asks anything but records, links, leaves and state.

use super::PROVED;

/// What the state of cases and of what is on hand must be by the records.
pub const STATE: [(&str, &str); 2] = [
    (
        "a case stands where it was put last, and has left with the shipment that says so",
        "WITH stands AS (SELECT serial, pallet FROM genealogy.pallet_case GROUP BY serial, pallet \
         HAVING count(*) FILTER (WHERE is_on) > count(*) FILTER (WHERE NOT is_on)), \
         replayed AS (SELECT packed.serial, stands.pallet, gone.shipment \
         FROM genealogy.packed_case AS packed LEFT JOIN stands USING (serial) \
         LEFT JOIN genealogy.shipment_case AS gone USING (serial)) \
         SELECT format('case %s: on pallet %s, left with %s; by its records %s, %s', serial, \
         state.pallet, state.shipment, replayed.pallet, replayed.shipment) AS what \
         FROM replayed FULL JOIN genealogy.case_state AS state USING (serial) \
         WHERE state.serial IS NULL OR (state.pallet, state.shipment) \
         IS DISTINCT FROM (replayed.pallet, replayed.shipment)",
    ),
    (
        "a shipment takes of each lot what its cases weigh",
        "WITH weighed AS (SELECT gone.shipment, gone.lot, sum(packed.mass_g) AS mass_g \
         FROM genealogy.shipment_case AS gone JOIN genealogy.packed_case AS packed \
         ON packed.serial = gone.serial AND packed.lot = gone.lot \
         GROUP BY gone.shipment, gone.lot) \
         SELECT format('shipment %s: lot %s gave %s g, its cases weigh %s g', shipment, lot, \
         kept.mass_g, weighed.mass_g) AS what FROM weighed \
         FULL JOIN genealogy.shipment_lot AS kept USING (shipment, lot) \
         WHERE kept.mass_g IS DISTINCT FROM weighed.mass_g",
    ),
];

/// Where an entry names cases or lots: the record's kind, the path in its entry, the links that
/// must be the same, with their record's column and the column of what they name.
const LINKS: [(&str, &str, &str, &str, &str); 12] = [
    ("genealogy.packing", "$.cases[*].serial", "genealogy.packed_case", "packing", "serial"),
    ("genealogy.rerun", "$.passed[*]", PASSED, "rerun", "serial"),
    ("genealogy.rerun", "$.rejected[*]", REJECTED, "rerun", "serial"),
    ("genealogy.pallet", "$.cases[*]", BUILT, "record", "serial"),
    ("genealogy.pallet_change", "$.put_on[*]", PUT_ON, "record", "serial"),
    ("genealogy.pallet_change", "$.taken_off[*]", TAKEN_OFF, "record", "serial"),
    (
        "genealogy.shipment",
        "$.pallets[*].cases[*]",
        "genealogy.shipment_case",
        "shipment",
        "serial",
    ),
    ("genealogy.shipment", "$.lots[*].lot", "genealogy.shipment_lot", "shipment", "lot"),
    (
        "genealogy.after_shipment",
        "$.cases[*].serial",
        "genealogy.after_shipment_case",
        "after_shipment",
        "serial",
    ),
    (
        "genealogy.refused_message",
        "$.lots[*]",
        "genealogy.refused_message_lot",
        "refused_message",
        "lot",
    ),
    ("genealogy.hold", "$.cases[*]", "genealogy.hold_case", "hold", "serial"),
    ("genealogy.hold", "$.span.place", SPANS, "id", "place"),
];
const PASSED: &str = "(SELECT * FROM genealogy.rerun_case WHERE NOT is_rejected) AS passed";
const REJECTED: &str = "(SELECT * FROM genealogy.rerun_case WHERE is_rejected) AS rejected";
const BUILT: &str = "(SELECT * FROM genealogy.pallet_case WHERE record = pallet) AS built";
const PUT_ON: &str =
    "(SELECT * FROM genealogy.pallet_case WHERE record <> pallet AND is_on) AS put_on";
const TAKEN_OFF: &str =
    "(SELECT * FROM genealogy.pallet_case WHERE record <> pallet AND NOT is_on) AS taken_off";
const SPANS: &str = "(SELECT * FROM genealogy.hold WHERE place IS NOT NULL) AS spans";

/// Every link is in its record's entry, and none is missing; a case weighs what its entry says.
pub fn links() -> String {
    let lists = LINKS.map(|(kind, path, ..)| format!("('{kind}', '{path}'::jsonpath)")).join(", ");
    let kept = LINKS.map(|(kind, path, table, record, named)| {
        format!(
            "SELECT '{kind}' AS kind, {record} AS id, '{path}'::jsonpath::text AS path, \
             {named}::text AS named FROM {table}"
        )
    });
    format!(
        "WITH said AS (SELECT list.kind, leaf.id, list.path::text AS path, \
         named.value #>> '{{}}' AS named FROM audit.leaf JOIN (VALUES {lists}) \
         AS list (kind, path) ON leaf.form LIKE list.kind || '/%', \
         jsonb_path_query({PROVED}, list.path) AS named (value)), kept AS ({kept}), \
         weighed AS (SELECT leaf.id, packed.value ->> 'serial' AS serial, \
         (packed.value -> 'mass' ->> 'g')::numeric AS mass_g FROM audit.leaf, \
         jsonb_array_elements(({PROVED}) -> 'cases') AS packed (value) \
         WHERE leaf.form LIKE 'genealogy.packing/%') \
         SELECT format('%s %s: %s stands only in the %s', kind, id, named, \
         CASE WHEN said IS NULL THEN 'links' ELSE 'entry' END) AS what \
         FROM said FULL JOIN kept USING (kind, id, path, named) \
         WHERE said IS NULL OR kept IS NULL \
         UNION ALL SELECT format('case %s weighs %s g, %s g by its entry', serial, packed.mass_g, \
         weighed.mass_g) FROM weighed JOIN genealogy.packed_case AS packed USING (serial) \
         WHERE packed.packing = weighed.id AND packed.mass_g <> weighed.mass_g",
        kept = kept.join(" UNION ALL ")
    )
}
