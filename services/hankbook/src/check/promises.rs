//! What a plant's database promises, each as one statement that finds what breaks it.
//! It never asks anything but records, links, leaves, state and the messages still owed.

mod shipping;
mod yields;

/// A promise and the statement that gives one text, `what`, for each thing that breaks it.
pub struct Promise {
    pub name: &'static str,
    pub differs: String,
}

/// A table of records, `schema.table`, and the column that names each of them.
pub struct Record {
    pub kind: String,
    pub key: String,
}

/// Messages that a service still owes another.
pub const OWED: &str = "SELECT format('%s owes %s for %s since %s', service, method, subject, \
    made_at) AS what FROM (SELECT 'genealogy' AS service, * FROM genealogy.outbox \
    UNION ALL SELECT 'haccp', * FROM haccp.outbox \
    UNION ALL SELECT 'formulas', * FROM formulas.outbox \
    UNION ALL SELECT 'identity', * FROM identity.outbox) AS owed";

/// Leaves that wait for the sealer.
pub const UNSEALED: &str = "SELECT format('leaf %s of form %s', id, form) AS what FROM audit.leaf \
    WHERE NOT EXISTS (SELECT 1 FROM audit.sealed WHERE sealed.leaf = leaf.id)";

/// A leaf's entry, once its hash has proved it; null otherwise, which the hashes report.
const PROVED: &str = "CASE WHEN leaf.hash = sha256('\\x00'::bytea || \
    convert_to(leaf.entry, 'UTF8')) THEN leaf.entry::jsonb END";

/// Every state table with its replay: a new one without a promise breaks the first of them.
const STATE: [(&str, &str); 9] = [
    (
        "every state table is compared here",
        "SELECT t.name AS what FROM (SELECT format('%I.%I', n.nspname, c.relname) AS name, c.oid \
         FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace \
         WHERE c.relkind IN ('r', 'p')) AS t \
         WHERE obj_description(t.oid, 'pg_class') LIKE 'state:%' AND t.name NOT IN \
         ('genealogy.lot_on_hand', 'genealogy.lot_safety', 'genealogy.case_state', \
         'haccp.plan_in_force', 'haccp.lot_bound', 'identity.person_in_force', 'audit.filed', \
         'formulas.material_in_force', 'formulas.formula_in_force')",
    ),
    (
        "on hand is the mass of each lot less what was used, destroyed and shipped of it",
        "WITH gone AS (SELECT lot, taken_g AS mass_g FROM genealogy.transformation_input \
         UNION ALL SELECT lot, mass_g FROM genealogy.destruction \
         UNION ALL SELECT lot, taken_g FROM genealogy.shipment_lot), \
         replayed AS (SELECT lot.id AS lot, lot.mass_g - coalesce((SELECT sum(gone.mass_g) \
         FROM gone WHERE gone.lot = lot.id), 0) AS mass_g FROM genealogy.lot) \
         SELECT format('lot %s: %s g on hand, %s g by its records', lot, \
         coalesce(state.on_hand_g::text, 'no'), coalesce(replayed.mass_g::text, 'no')) AS what \
         FROM replayed FULL JOIN genealogy.lot_on_hand AS state USING (lot) \
         WHERE state.on_hand_g IS DISTINCT FROM replayed.mass_g",
    ),
    (
        "a case is destroyed where a record says so, and there alone",
        "SELECT format('case %s: %s, %s by its records', serial, \
         coalesce('destroyed by ' || state.destruction, 'not destroyed'), \
         coalesce('destroyed by ' || link.destruction, 'not destroyed')) AS what \
         FROM genealogy.case_state AS state FULL JOIN genealogy.destroyed_case AS link \
         USING (serial) WHERE state.destruction IS DISTINCT FROM link.destruction",
    ),
    (
        "a safety version is 1 and one more for each record that made its lot less safe",
        // An amendment that opens a deviation counts once, as that deviation. An input that was
        // added late counts for all that its transformation made. The nil id is the plant's own
        // row: what names no lots raises it, as do labels, specifications, materials and products
        // that replace others, and each formula that is approved.
        "WITH counted AS (SELECT lot FROM haccp.deviation_lot \
         UNION ALL SELECT lot FROM genealogy.hold_lot \
         UNION ALL SELECT '00000000-0000-0000-0000-000000000000'::uuid FROM genealogy.hold \
         WHERE scope = 'span' \
         UNION ALL SELECT lot.id FROM genealogy.input_added AS added \
         JOIN genealogy.lot ON lot.made_by = added.transformation \
         UNION ALL SELECT link.lot FROM haccp.reading_lot AS link \
         JOIN haccp.reading AS amendment ON amendment.id = link.reading \
         WHERE amendment.supersedes IS NOT NULL AND NOT EXISTS \
         (SELECT 1 FROM haccp.deviation WHERE deviation.reading = amendment.id) \
         UNION ALL SELECT link.lot FROM haccp.reading_lot AS link \
         JOIN haccp.reading AS r ON r.id = link.reading \
         WHERE r.is_less_safe AND r.supersedes IS NULL \
         UNION ALL SELECT link.lot FROM haccp.judgement_lot AS link \
         JOIN haccp.judgement AS j ON j.id = link.judgement WHERE j.verdict <> 'PASS' \
         AND NOT EXISTS (SELECT 1 FROM haccp.deviation WHERE deviation.judgement = j.id) \
         UNION ALL SELECT lot FROM haccp.foreign_material \
         UNION ALL SELECT '00000000-0000-0000-0000-000000000000'::uuid FROM \
         (SELECT id FROM haccp.deviation WHERE place IS NOT NULL \
         UNION ALL SELECT id FROM haccp.instrument_check WHERE verdict <> 'PASS' \
         UNION ALL SELECT id FROM haccp.station_place WHERE is_bound \
         UNION ALL SELECT record_id FROM formulas.label WHERE version > 1 \
         UNION ALL SELECT record_id FROM formulas.material WHERE version > 1 \
         UNION ALL SELECT record_id FROM formulas.product WHERE version > 1 \
         UNION ALL SELECT record_id FROM formulas.formula \
         UNION ALL SELECT id FROM formulas.specification WHERE version > 1) AS unnamed), \
         born AS (SELECT id AS lot FROM genealogy.lot \
         UNION ALL SELECT '00000000-0000-0000-0000-000000000000'::uuid), \
         replayed AS (SELECT born.lot, 1 + count(counted.lot) AS version FROM born \
         LEFT JOIN counted ON counted.lot = born.lot GROUP BY born.lot) \
         SELECT format('lot %s: version %s, %s by its records', lot, \
         coalesce(state.version::text, 'none'), coalesce(replayed.version::text, 'none')) AS what \
         FROM replayed FULL JOIN genealogy.lot_safety AS state USING (lot) \
         WHERE state.version IS DISTINCT FROM replayed.version",
    ),
    (
        "the version of a plan in force is the highest approved",
        "SELECT format('plan %s: version %s in force, %s approved last', plan, \
         coalesce(state.version::text, 'none'), coalesce(last.version::text, 'none')) AS what \
         FROM (SELECT id AS plan, max(version) AS version FROM haccp.plan GROUP BY id) AS last \
         FULL JOIN haccp.plan_in_force AS state USING (plan) \
         WHERE state.version IS DISTINCT FROM last.version",
    ),
    (
        "a material in force is its newest version",
        "SELECT format('material %s: version %s %L in force, %s %L recorded last', material, \
         coalesce(state.version::text, 'none'), state.name, \
         coalesce(last.version::text, 'none'), last.name) AS what \
         FROM (SELECT DISTINCT ON (id) id AS material, version, name FROM formulas.material \
         ORDER BY id, version DESC) AS last FULL JOIN formulas.material_in_force AS state \
         USING (material) WHERE (state.version, state.name) \
         IS DISTINCT FROM (last.version, last.name)",
    ),
    (
        "the version of a formula in force is the highest approved",
        "SELECT format('formula %s: version %s in force, %s approved last', formula, \
         coalesce(state.version::text, 'none'), coalesce(last.version::text, 'none')) AS what \
         FROM (SELECT id AS formula, max(version) AS version FROM formulas.formula GROUP BY id) \
         AS last FULL JOIN formulas.formula_in_force AS state USING (formula) \
         WHERE state.version IS DISTINCT FROM last.version",
    ),
    (
        "a lot is bound to the version of a plan that its record names",
        "SELECT format('lot %s: bound to %s version %s, %s version %s by its record', \
         coalesce(lot.id, state.lot), state.plan, state.version, lot.plan, lot.plan_version) \
         AS what FROM genealogy.lot FULL JOIN haccp.lot_bound AS state ON state.lot = lot.id \
         WHERE (state.plan, state.version) IS DISTINCT FROM (lot.plan, lot.plan_version) \
         AND NOT (state.lot IS NULL AND EXISTS (SELECT 1 FROM genealogy.outbox AS owed \
         WHERE owed.subject = 'lot:' || lot.id AND owed.method LIKE '%/BindLot'))",
    ),
    (
        "a person in force is the newest version with the rights that its versions gave",
        "WITH steps AS (SELECT id, version, (roles, in_use) IS DISTINCT FROM \
         (lag(roles) OVER w, lag(in_use) OVER w) AS is_change FROM identity.person \
         WINDOW w AS (PARTITION BY id ORDER BY version)), \
         rights AS (SELECT id, max(version) FILTER (WHERE version = 1 OR is_change) AS version \
         FROM steps GROUP BY id), \
         replayed AS (SELECT DISTINCT ON (p.id) p.id AS person, p.version, p.sign_in_name, \
         rights.version AS rights_version, p.in_use AND 'ADMINISTRATOR' = ANY(p.roles) \
         AS is_administrator FROM identity.person AS p JOIN rights ON rights.id = p.id \
         ORDER BY p.id, p.version DESC) \
         SELECT format('person %s: version %s, rights of %s; by the records %s, rights of %s', \
         person, state.version, state.rights_version, replayed.version, \
         replayed.rights_version) AS what \
         FROM replayed FULL JOIN identity.person_in_force AS state USING (person) \
         WHERE (state.version, state.sign_in_name, state.rights_version, state.is_administrator) \
         IS DISTINCT FROM (replayed.version, replayed.sign_in_name, replayed.rights_version, \
         replayed.is_administrator)",
    ),
];

/// What one service told another by message must have come of it.
const TOLD: [(&str, &str); 2] = [
    (
        "every lot of a deviation is held by its hold",
        "SELECT format('deviation %s: lot %s is not held', d.deviation, d.lot) AS what \
         FROM haccp.deviation_lot AS d WHERE NOT EXISTS (SELECT 1 FROM genealogy.hold \
         JOIN genealogy.hold_lot AS link ON link.hold = hold.id \
         WHERE hold.deviation = d.deviation AND link.lot = d.lot) \
         AND NOT EXISTS (SELECT 1 FROM haccp.outbox AS owed WHERE owed.subject = \
         'deviation:' || d.deviation AND owed.method LIKE '%/HoldForDeviation')",
    ),
    (
        "the hold of a deviation has ended where its closing released the lots, and only there",
        "SELECT format('deviation %s: hold %s', hold.deviation, CASE WHEN ended.id IS NULL \
         THEN 'stands after the release' ELSE 'ended without a release' END) AS what \
         FROM genealogy.hold LEFT JOIN genealogy.hold_end AS ended ON ended.hold = hold.id \
         LEFT JOIN haccp.deviation_end AS closed ON closed.deviation = hold.deviation \
         AND (closed.disposition IN \
         ('release_with_support', 'recorded_wrongly', 'rework_with_lethal_step') \
         OR (closed.disposition = 'recook' AND NOT EXISTS (SELECT 1 FROM haccp.deviation AS d \
         JOIN haccp.deviation_lot AS named ON named.deviation = d.id \
         WHERE d.id = closed.deviation AND NOT EXISTS (SELECT 1 FROM haccp.reading AS r \
         JOIN haccp.reading_lot AS link ON link.reading = r.id WHERE link.lot = named.lot \
         AND r.plan = d.plan AND r.check_code = d.check_code AND r.verdict = 'PASS' \
         AND r.supersedes IS NULL AND r.observed_at > closed.recorded_at) \
         AND NOT EXISTS (SELECT 1 FROM haccp.judgement AS j \
         JOIN haccp.judgement_lot AS link ON link.judgement = j.id WHERE link.lot = named.lot \
         AND j.plan = d.plan AND j.check_code = d.check_code AND j.verdict = 'PASS' \
         AND j.observed_at > closed.recorded_at)))) \
         WHERE hold.deviation IS NOT NULL AND (ended.id IS NULL) <> (closed.id IS NULL) \
         AND NOT (ended.id IS NULL AND EXISTS (SELECT 1 FROM haccp.outbox AS owed \
         WHERE owed.subject = 'deviation:' || hold.deviation \
         AND owed.method LIKE '%/EndHoldForDeviation'))",
    ),
];

/// All promises, in the order in which they are printed.
pub fn promises(records: &[Record]) -> Vec<Promise> {
    let fixed = STATE.iter().chain(&shipping::STATE).chain(&TOLD);
    let mut all: Vec<_> =
        fixed.map(|(name, differs)| Promise { name, differs: (*differs).to_owned() }).collect();
    all.extend(leaves(records));
    all.push(Promise { name: "positions count from 0 and each has its leaf", differs: sealed() });
    all.push(Promise { name: "sealed entries are filed under what they name", differs: filed() });
    all
}

/// What the sealed order says of a leaf: that it is there, with the hash that went into the tree.
fn sealed() -> String {
    "SELECT format('position %s, leaf %s: %s', position, leaf, what) AS what FROM (SELECT \
     sealed.position, sealed.leaf, CASE \
     WHEN leaf.id IS NULL THEN 'the leaf is not there' \
     WHEN leaf.hash <> sealed.hash THEN 'the leaf has another hash' \
     WHEN sealed.position <> row_number() OVER (ORDER BY sealed.position) - 1 \
     THEN 'positions before it are missing' END AS what \
     FROM audit.sealed LEFT JOIN audit.leaf ON leaf.id = sealed.leaf) AS found \
     WHERE what IS NOT NULL"
        .to_owned()
}

fn filed() -> String {
    format!(
        "WITH read AS (SELECT sealed.position, leaf.subject, {PROVED} AS said \
         FROM audit.sealed LEFT JOIN audit.leaf ON leaf.id = sealed.leaf), \
         named AS (SELECT DISTINCT position, lower(key)::uuid AS key FROM ( \
         SELECT position, split_part(subject, ':', 2) AS key FROM read WHERE said IS NOT NULL \
         UNION ALL SELECT position, said -> 'entered_by' ->> 'id' FROM read \
         UNION ALL SELECT position, lot.value FROM read, jsonb_array_elements_text(CASE \
         WHEN jsonb_typeof(said -> 'lots') = 'array' THEN said -> 'lots' END) AS lot) AS keys \
         WHERE key ~* '^[0-9a-f]{{8}}(-[0-9a-f]{{4}}){{3}}-[0-9a-f]{{12}}$'), \
         kept AS (SELECT filed.position, filed.key FROM audit.filed LEFT JOIN read \
         USING (position) WHERE read.position IS NULL OR read.said IS NOT NULL) \
         SELECT format('position %s, id %s: stands only in the %s', position, key, CASE \
         WHEN named.is_named IS NULL THEN 'files' ELSE 'entry' END) AS what FROM \
         (SELECT position, key, true AS is_named FROM named) AS named \
         FULL JOIN (SELECT position, key, true AS is_kept FROM kept) AS kept \
         USING (position, key) WHERE named.is_named IS NULL OR kept.is_kept IS NULL"
    )
}

/// A record and its leaf prove each other. A form is its record's table with the form's number.
fn leaves(records: &[Record]) -> Vec<Promise> {
    let table =
        |Record { kind, key }: &Record| format!("SELECT '{kind}' AS kind, {key} AS id FROM {kind}");
    let rows = records.iter().map(table).collect::<Vec<_>>().join(" UNION ALL ");
    let is_form = "leaf.form ~ ('^' || record.kind || '/[1-9]$')";
    let with_leaf = format!(
        "SELECT format('%s %s has no leaf', record.kind, record.id) AS what FROM ({rows}) AS record \
         WHERE NOT EXISTS (SELECT 1 FROM audit.leaf WHERE leaf.id = record.id AND {is_form})"
    );
    let with_row = format!(
        "SELECT format('leaf %s of form %s has no record', leaf.id, leaf.form) AS what \
         FROM audit.leaf LEFT JOIN ({rows}) AS record ON record.id = leaf.id AND {is_form} \
         WHERE record.id IS NULL"
    );
    let hashes = "SELECT format('leaf %s of form %s', leaf.id, leaf.form) AS what \
        FROM audit.leaf WHERE leaf.hash IS DISTINCT FROM \
        sha256('\\x00'::bytea || convert_to(leaf.entry, 'UTF8'))";
    let columns = format!(
        "SELECT format('leaf %s of form %s', id, form) AS what FROM (SELECT leaf.*, {PROVED} \
         AS said FROM audit.leaf) AS leaf WHERE said IS NOT NULL AND \
         (said ->> 'id', said ->> 'form', said ->> 'subject', \
         coalesce(said ->> 'day', day::text)) \
         IS DISTINCT FROM (id::text, form, subject, day::text)"
    );
    vec![
        Promise { name: "every record has its one leaf", differs: with_leaf },
        Promise { name: "every leaf has its record, of a known form", differs: with_row },
        Promise { name: "every leaf's hash is that of its entry", differs: hashes.to_owned() },
        Promise { name: "every leaf is filed as its entry says", differs: columns },
        Promise {
            name: "every link is in its record's entry, and none is missing",
            differs: links(),
        },
        Promise {
            name: "every lot has what it was made of, as the entries say",
            differs: inputs(),
        },
        Promise {
            name: "every case stands in the entries of its packing, passings, pallets and shipment",
            differs: shipping::links(),
        },
        Promise { name: "every reading's row says what its entry says", differs: readings() },
        Promise { name: "every batch's row says what its entry says", differs: batches() },
        Promise {
            name: "every weighing's row says what its entry says, and net is gross less tare",
            differs: yields::weighings(),
        },
        Promise { name: "every cost's row says what its entry says", differs: yields::costs() },
        Promise {
            name: "every block's samples and load's seats are in its entry",
            differs: curves(),
        },
        Promise {
            name: "every file's row says what its entry says, and its bytes have the entry's hash",
            differs: files(),
        },
    ]
}

/// Lists of an entry, each with the links that must be the same: the record's kind, the member of
/// its entry, the table of links with its record's column and the column of what it names.
const LINKS: [(&str, &str, &str, &str, &str); 14] = [
    ("haccp.reading", "lots", "haccp.reading_lot", "reading", "lot"),
    ("haccp.deviation", "lots", "haccp.deviation_lot", "deviation", "lot"),
    ("haccp.load", "lots", "haccp.load_rack", "load", "lot"),
    ("haccp.pull", "lots", "haccp.pull_rack", "pull", "lot"),
    ("haccp.judgement", "lots", "haccp.judgement_lot", "judgement", "lot"),
    ("haccp.missed_check", "lots", "haccp.missed_check_lot", "missed_check", "lot"),
    ("haccp.review", "lots", "haccp.review_lot", "review", "lot"),
    ("haccp.refused_message", "lots", "haccp.refused_message_lot", "refused_message", "lot"),
    ("genealogy.hold", "lots", "genealogy.hold_lot", "hold", "lot"),
    ("genealogy.open_item", "lots", "genealogy.open_item_lot", "open_item", "lot"),
    ("genealogy.transfer", "lots", "genealogy.transfer_lot", "transfer", "lot"),
    ("genealogy.transfer", "pallets", "genealogy.transfer_pallet", "transfer", "pallet"),
    ("genealogy.destruction", "cases", "genealogy.destroyed_case", "destruction", "serial"),
    ("yields.weighing", "lots", "yields.weighing_lot", "weighing", "lot"),
];

fn links() -> String {
    let lists = LINKS.map(|(kind, member, ..)| format!("('{kind}', '{member}')")).join(", ");
    let kept = LINKS.map(|(kind, member, table, record, named)| {
        format!(
            "SELECT '{kind}' AS kind, {record} AS id, '{member}' AS member, {named}::text AS named \
             FROM {table}"
        )
    });
    format!(
        "WITH said AS (SELECT list.kind, leaf.id, list.member, named.value AS named \
         FROM audit.leaf JOIN (VALUES {lists}) AS list (kind, member) \
         ON leaf.form LIKE list.kind || '/%', \
         jsonb_array_elements_text(({PROVED}) -> list.member) AS named), kept AS ({kept}) \
         SELECT format('%s %s: %s %s stands only in the %s', kind, id, rtrim(member, 's'), named, \
         CASE WHEN said IS NULL THEN 'links' ELSE 'entry' END) AS what \
         FROM said FULL JOIN kept USING (kind, id, member, named) \
         WHERE said IS NULL OR kept IS NULL",
        kept = kept.join(" UNION ALL ")
    )
}

/// What a transformation used, with its masses, stands in the entry of the record that says so;
/// what it made names it.
fn inputs() -> String {
    format!(
        "WITH said AS (SELECT leaf.id, input.value ->> 'lot' AS lot, \
         input.value -> 'mass' ->> 'g' AS mass_g, input.value ->> 'taken_g' AS taken_g \
         FROM audit.leaf, jsonb_array_elements(({PROVED}) -> 'inputs') AS input WHERE leaf.form \
         IN ('genealogy.transformation/1', 'genealogy.input_added/1')), \
         kept AS (SELECT record AS id, lot::text, mass_g, taken_g \
         FROM genealogy.transformation_input) \
         SELECT format('record %s: input %s', id, lot) AS what FROM said FULL JOIN kept \
         USING (id, lot) WHERE said IS NULL OR kept IS NULL \
         OR (said.mass_g::numeric, said.taken_g::numeric) \
         IS DISTINCT FROM (kept.mass_g, kept.taken_g) \
         UNION ALL SELECT format('lot %s was made by %s, which is no record', id, made_by) \
         FROM genealogy.lot WHERE made_by IS NOT NULL \
         AND NOT EXISTS (SELECT 1 FROM genealogy.transformation AS made WHERE made.id = made_by) \
         AND NOT EXISTS (SELECT 1 FROM genealogy.opening_statement AS made \
         WHERE made.id = made_by)"
    )
}

/// How a batch was judged, and which labels and answers packings and shipments rest on.
fn batches() -> String {
    format!(
        "WITH said AS MATERIALIZED (SELECT leaf.id, leaf.form, {PROVED} AS said FROM audit.leaf \
         WHERE leaf.form SIMILAR TO 'genealogy.(batch|packing|shipment)/%') \
         SELECT format('batch %s', record.id) AS what FROM genealogy.batch AS record \
         JOIN said ON said.id = record.id WHERE said IS NOT NULL AND (record.transformation::text, \
         record.cause::text, record.formula::text, record.formula_version::text, \
         record.hold_for_label::text, record.answer::text) IS DISTINCT FROM \
         (said ->> 'transformation', said ->> 'cause', said ->> 'formula', \
         said ->> 'formula_version', said ->> 'hold_for_label', said ->> 'answer') \
         UNION ALL SELECT format('packing %s', record.id) FROM genealogy.packing AS record \
         JOIN said ON said.id = record.id WHERE form <> 'genealogy.packing/1' \
         AND said IS NOT NULL AND record.label_revision IS DISTINCT FROM said ->> 'label_revision' \
         UNION ALL SELECT format('shipment %s', record.id) FROM genealogy.shipment AS record \
         JOIN said ON said.id = record.id WHERE form <> 'genealogy.shipment/1' \
         AND said IS NOT NULL AND record.label_cover::text IS DISTINCT FROM said ->> 'label_cover'"
    )
}

fn readings() -> String {
    format!(
        "SELECT format('reading %s', record.id) AS what FROM haccp.reading AS record JOIN (SELECT \
         leaf.id, {PROVED} AS said FROM audit.leaf WHERE leaf.form LIKE 'haccp.reading/%') AS leaf \
         ON leaf.id = record.id WHERE said IS NOT NULL AND ((record.plan::text, \
         record.plan_version::text, record.check_code, record.unit, record.verdict, record.supersedes::text) \
         IS DISTINCT FROM (said ->> 'plan', said ->> 'plan_version', said ->> 'check', \
         said ->> 'unit', said ->> 'verdict', said ->> 'supersedes') \
         OR record.readings IS DISTINCT FROM ARRAY(SELECT value::numeric FROM \
         jsonb_array_elements_text(said -> 'readings') WITH ORDINALITY AS t (value, place) \
         ORDER BY place))"
    )
}

/// Samples as they were sent, and where each probe sat.
fn curves() -> String {
    let list = |member: &str| {
        format!(
            "ARRAY(SELECT value::numeric FROM jsonb_array_elements_text(said -> '{member}') \
             WITH ORDINALITY AS t (value, place) ORDER BY place)"
        )
    };
    let (times, readings) = (list("times_s"), list("readings"));
    format!(
        "SELECT format('block %s', record.id) AS what FROM haccp.sample_block AS record \
         JOIN (SELECT leaf.id, {PROVED} AS said FROM audit.leaf \
         WHERE leaf.form LIKE 'haccp.sample_block/%') AS leaf ON leaf.id = record.id \
         WHERE said IS NOT NULL AND ((record.load::text, record.probe, record.source, \
         record.lot::text, record.unit, record.begun_at, record.correction) \
         IS DISTINCT FROM (said ->> 'load', said ->> 'probe', said ->> 'source', said ->> 'lot', \
         said ->> 'unit', (said ->> 'begun_at')::timestamptz, (said ->> 'correction')::numeric) \
         OR record.times_s IS DISTINCT FROM {times} \
         OR record.readings IS DISTINCT FROM {readings}) \
         UNION ALL SELECT format('load %s: seat of %s', load, probe) FROM \
         (SELECT leaf.id AS load, seat.value ->> 'probe' AS probe, seat.value ->> 'seat' AS seat, \
         seat.value ->> 'lot' AS lot, true AS is_said FROM audit.leaf, \
         jsonb_array_elements(({PROVED}) -> 'probes') AS seat \
         WHERE leaf.form LIKE 'haccp.load/%') AS said FULL JOIN (SELECT load, probe, seat, \
         coalesce(lot::text, '') AS named, true AS is_kept FROM haccp.load_probe) AS kept \
         USING (load, probe, seat) \
         WHERE is_said IS NULL OR is_kept IS NULL OR coalesce(lot, '') <> named"
    )
}

/// A file's bytes stand beside its row; the entry holds their hash and never the bytes.
fn files() -> String {
    format!(
        "SELECT format('file %s', record.id) AS what FROM haccp.file AS record \
         LEFT JOIN haccp.file_content AS kept ON kept.file = record.id \
         JOIN (SELECT leaf.id, {PROVED} AS said FROM audit.leaf \
         WHERE leaf.form LIKE 'haccp.file/%') AS leaf ON leaf.id = record.id \
         WHERE said IS NOT NULL AND ((record.about, record.name, record.media_type, \
         record.bytes::text, encode(record.sha256, 'hex')) IS DISTINCT FROM (said ->> 'about', \
         said ->> 'name', said ->> 'media_type', said ->> 'bytes', said ->> 'sha256') \
         OR encode(sha256(kept.content), 'hex') IS DISTINCT FROM said ->> 'sha256' \
         OR octet_length(kept.content)::text IS DISTINCT FROM said ->> 'bytes')"
    )
}
