//! The closures of several lots, each as if that lot alone were asked about, by one set of
//! statements. It never lets what is asked about one lot end or lengthen a stay of another's.

use std::collections::{HashMap, HashSet};

use diesel::QueryableByName;
use diesel::sql_types::{Array, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::{LotRead, Moves, moves, read, whole};
use crate::shape::closure::Closure;

/// The last use of each lot by each of these makings, by the plant's clock.
const USES: &str = "SELECT used.lot, used.transformation AS making, \
    max(coalesce(added.observed_at + added.offset_ms * interval '1 millisecond', \
    made.observed_at + made.offset_ms * interval '1 millisecond')) AS at \
    FROM genealogy.transformation_input AS used \
    JOIN genealogy.transformation AS made ON made.id = used.transformation \
    LEFT JOIN genealogy.input_added AS added ON added.id = used.record \
    WHERE used.transformation = ANY($1) GROUP BY used.lot, used.transformation";

#[derive(QueryableByName)]
struct Use {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    making: Uuid,
    #[diesel(sql_type = Timestamptz)]
    at: jiff_diesel::Timestamp,
}

/// By lot what made it, and where.
type Made = HashMap<Uuid, (Option<Uuid>, Uuid)>;

/// The closure of each lot alone, in the order asked for. Not found: a lot that does not exist.
pub async fn closures(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<Vec<Closure>, Failure> {
    let read = read(conn, lots).await?;
    let makings: Vec<Uuid> = read.makings.keys().copied().collect();
    let uses: Vec<Use> = statement(USES).bind::<Array<SqlUuid>, _>(&makings).load(conn).await?;
    let moves = moves(conn, &read, lots).await?;
    let made = |LotRead { lot, made_by, place }: &LotRead| (lot.id, (*made_by, *place));
    let made: Made = read.lots.iter().map(made).collect();
    let all = whole(conn, read).await?;
    let alone = |lot: &Uuid| {
        let at = all.index(*lot).ok_or_else(|| Failure::not_found("lot"))?;
        let mut only = all.only(at);
        place_them(&mut only, *lot, (&made, &uses, &moves));
        Ok(only)
    };
    lots.iter().map(alone).collect()
}

fn place_them(of: &mut Closure, asked: Uuid, (made, uses, moves): (&Made, &[Use], &Moves)) {
    let makings: HashSet<Uuid> = of.lots.iter().filter_map(|lot| made.get(&lot.id)?.0).collect();
    let mut ends: HashMap<Uuid, Timestamp> = HashMap::new();
    // A lot that is asked about is still there.
    for used in uses.iter().filter(|used| makings.contains(&used.making) && used.lot != asked) {
        let at = used.at.to_jiff();
        ends.entry(used.lot).and_modify(|end| *end = at.max(*end)).or_insert(at);
    }
    for lot in &mut of.lots {
        if let Some((_, place)) = made.get(&lot.id) {
            lot.stays = moves.stays(lot, *place, ends.get(&lot.id).copied());
        }
        if lot.id == asked {
            lot.stays.extend(moves.stays_on_pallets(asked));
        }
    }
}
