//! What a plant's database promises, each as one statement that finds what breaks it.
//! It never asks anything but records, links, leaves, state and the messages still owed.

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

/// A leaf's entry, once its hash has proved it; null otherwise, which the hashes report.
const PROVED: &str = "CASE WHEN leaf.hash = sha256('\\x00'::bytea || \
    convert_to(leaf.entry, 'UTF8')) THEN leaf.entry::jsonb END";

/// Every state table with its replay: a new one without a promise breaks the first of them.
const STATE: [(&str, &str); 8] = [
    (
        "every state table is compared here",
        "SELECT t.name AS what FROM (SELECT format('%I.%I', n.nspname, c.relname) AS name, c.oid \
         FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace \
         WHERE c.relkind IN ('r', 'p')) AS t \
         WHERE obj_description(t.oid, 'pg_class') LIKE 'state:%' AND t.name NOT IN \
         ('genealogy.lot_on_hand', 'genealogy.lot_safety', 'haccp.plan_in_force', \
         'haccp.lot_bound', 'identity.person_in_force', 'formulas.material_in_force', \
         'formulas.formula_in_force')",
    ),
    (
        "on hand is the received mass of each lot",
        "SELECT format('lot %s: %s g on hand, %s g by its record', coalesce(lot.id, state.lot), \
         coalesce(state.on_hand_g::text, 'no'), coalesce(lot.mass_g::text, 'no')) AS what \
         FROM genealogy.lot FULL JOIN genealogy.lot_on_hand AS state ON state.lot = lot.id \
         WHERE state.on_hand_g IS DISTINCT FROM lot.mass_g",
    ),
    (
        "a safety version is 1 and one more for each deviation, hold and amendment of its lot",
        // An amendment that opens a deviation counts once, as that deviation. The nil id is the
        // plant's own row, which nothing raises yet.
        "WITH counted AS (SELECT lot FROM haccp.deviation_lot \
         UNION ALL SELECT lot FROM genealogy.hold_lot \
         UNION ALL SELECT link.lot FROM haccp.reading_lot AS link \
         JOIN haccp.reading AS amendment ON amendment.id = link.reading \
         WHERE amendment.supersedes IS NOT NULL AND NOT EXISTS \
         (SELECT 1 FROM haccp.deviation WHERE deviation.reading = amendment.id)), \
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
         AND closed.disposition = 'release_with_support' \
         WHERE hold.deviation IS NOT NULL AND (ended.id IS NULL) <> (closed.id IS NULL) \
         AND NOT (ended.id IS NULL AND EXISTS (SELECT 1 FROM haccp.outbox AS owed \
         WHERE owed.subject = 'deviation:' || hold.deviation \
         AND owed.method LIKE '%/EndHoldForDeviation'))",
    ),
];

/// All promises, in the order in which they are printed.
pub fn promises(records: &[Record]) -> Vec<Promise> {
    let fixed = STATE.iter().chain(&TOLD);
    let mut all: Vec<_> =
        fixed.map(|(name, differs)| Promise { name, differs: (*differs).to_owned() }).collect();
    all.extend(leaves(records));
    all
}

/// A record and its leaf prove each other. Forms have only their first version so far.
fn leaves(records: &[Record]) -> Vec<Promise> {
    let table = |Record { kind, key }: &Record| {
        format!("SELECT '{kind}/1' AS form, {key} AS id FROM {kind}")
    };
    let rows = records.iter().map(table).collect::<Vec<_>>().join(" UNION ALL ");
    let with_leaf = format!(
        "SELECT format('%s %s has no leaf', record.form, record.id) AS what FROM ({rows}) AS record \
         WHERE NOT EXISTS (SELECT 1 FROM audit.leaf WHERE leaf.id = record.id \
         AND leaf.form = record.form)"
    );
    let with_row = format!(
        "SELECT format('leaf %s of form %s has no record', leaf.id, leaf.form) AS what \
         FROM audit.leaf LEFT JOIN ({rows}) AS record ON record.id = leaf.id AND record.form = leaf.form \
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
        Promise { name: "every reading's row says what its entry says", differs: readings() },
    ]
}

fn links() -> String {
    format!(
        "WITH said AS (SELECT leaf.form, leaf.id, lot.value::uuid AS lot FROM audit.leaf, \
         jsonb_array_elements_text(({PROVED}) -> 'lots') AS lot WHERE leaf.form IN \
         ('haccp.reading/1', 'haccp.deviation/1', 'genealogy.hold/1')), \
         kept AS (SELECT 'haccp.reading/1' AS form, reading AS id, lot FROM haccp.reading_lot \
         UNION ALL SELECT 'haccp.deviation/1', deviation, lot FROM haccp.deviation_lot \
         UNION ALL SELECT 'genealogy.hold/1', hold, lot FROM genealogy.hold_lot) \
         SELECT format('%s %s: lot %s stands only in the %s', form, id, lot, CASE WHEN \
         said IS NULL THEN 'links' ELSE 'entry' END) AS what \
         FROM said FULL JOIN kept USING (form, id, lot) WHERE said IS NULL OR kept IS NULL"
    )
}

fn readings() -> String {
    format!(
        "SELECT format('reading %s', record.id) AS what FROM haccp.reading AS record JOIN (SELECT \
         leaf.id, {PROVED} AS said FROM audit.leaf WHERE leaf.form = 'haccp.reading/1') AS leaf \
         ON leaf.id = record.id WHERE said IS NOT NULL AND ((record.plan::text, \
         record.plan_version::text, record.check_code, record.unit, record.verdict, record.supersedes::text) \
         IS DISTINCT FROM (said ->> 'plan', said ->> 'plan_version', said ->> 'check', \
         said ->> 'unit', said ->> 'verdict', said ->> 'supersedes') \
         OR record.readings IS DISTINCT FROM ARRAY(SELECT value::numeric FROM \
         jsonb_array_elements_text(said -> 'readings') WITH ORDINALITY AS t (value, place) \
         ORDER BY place))"
    )
}
