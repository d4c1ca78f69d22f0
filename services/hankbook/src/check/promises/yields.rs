//! What the tables of weighings and costs promise, each as one statement.
//! It never asks anything but records and leaves.

use super::PROVED;

/// A weighing's row says what its entry says, and its net is exactly its gross less its tare.
pub fn weighings() -> String {
    format!(
        "SELECT format('weighing %s: %s gross, %s tare, %s net', record.id, record.gross, \
         record.tare, record.net) AS what FROM yields.weighing AS record \
         JOIN (SELECT leaf.id, {PROVED} AS said FROM audit.leaf \
         WHERE leaf.form LIKE 'yields.weighing/%') AS leaf ON leaf.id = record.id \
         WHERE said IS NOT NULL AND ((record.gross, record.tare, record.net, record.unit, \
         coalesce(record.stage, ''), record.supersedes::text) \
         IS DISTINCT FROM ((said ->> 'gross')::numeric, (said ->> 'tare')::numeric, \
         (said ->> 'net')::numeric, said ->> 'unit', said ->> 'stage', said ->> 'supersedes') \
         OR record.net <> record.gross - record.tare)"
    )
}

/// A cost's row says what its entry says.
pub fn costs() -> String {
    format!(
        "SELECT format('cost %s of lot %s', record.id, record.lot) AS what \
         FROM yields.cost AS record JOIN (SELECT leaf.id, {PROVED} AS said FROM audit.leaf \
         WHERE leaf.form LIKE 'yields.cost/%') AS leaf ON leaf.id = record.id \
         WHERE said IS NOT NULL AND (record.lot::text, record.version::text, record.amount_minor, \
         record.currency, record.per_value, record.per_unit) \
         IS DISTINCT FROM (said -> 'lots' ->> 0, said ->> 'version', \
         (said ->> 'amount_minor')::numeric, said ->> 'currency', \
         (said -> 'per' ->> 'value')::numeric, said -> 'per' ->> 'unit')"
    )
}
