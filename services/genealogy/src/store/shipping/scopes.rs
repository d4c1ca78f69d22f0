//! What holds by cases and by a span cover.
//! It never lets a hold stand that holds nothing of a lot that it names.

use std::collections::BTreeSet;

use diesel::QueryableByName;
use diesel::sql_types::{Nullable, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::statement::planned;
use uuid::Uuid;

use super::cases;
use crate::shape::holds::{Covers, NewHold, Span};
use crate::store::places;

#[derive(QueryableByName)]
struct Lot {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
}

/// The lots of which a case passed a place in a span, at packing or again, in id order.
pub async fn lots_in(conn: &mut AsyncPgConnection, span: Span) -> Result<Vec<Uuid>, Failure> {
    let found: Vec<Lot> =
        planned(format!("SELECT DISTINCT lot FROM ({PASSED}) AS passed ORDER BY lot"))
            .bind::<SqlUuid, _>(span.place)
            .bind::<Nullable<Timestamptz>, _>(span.from.map(|from| from.to_diesel()))
            .bind::<Timestamptz, _>(span.to.to_diesel())
            .load(conn)
            .await?;
    Ok(found.into_iter().map(|found| found.lot).collect())
}

/// Serial and lot of every case that passed the place $1 after $2, if it is there, and up to $3.
pub const PASSED: &str = "SELECT packed.serial, packed.lot FROM genealogy.packing \
    JOIN genealogy.packed_case AS packed ON packed.packing = packing.id \
    WHERE packing.place = $1 AND ($2 IS NULL OR packed.packed_at > $2) AND packed.packed_at <= $3 \
    UNION SELECT packed.serial, packed.lot FROM genealogy.rerun \
    JOIN genealogy.rerun_case AS again ON again.rerun = rerun.id \
    JOIN genealogy.packed_case AS packed ON packed.serial = again.serial \
    WHERE rerun.place = $1 AND ($2 IS NULL OR again.passed_at > $2) AND again.passed_at <= $3";

/// Names each case that is none of the lots, and each lot of which nothing is named.
pub async fn refuse_empty(conn: &mut AsyncPgConnection, new: &NewHold) -> Result<(), Failure> {
    let mut faults = Faults::new();
    let (held, nothing) = match &new.covers {
        Covers::Whole | Covers::WhatIsLeft => return Ok(()),
        Covers::Cases(serials) => {
            let known = cases::of_serials(conn, serials).await?;
            for (at, serial) in serials.iter().enumerate() {
                let lot = known.iter().find(|case| case.serial == *serial).map(|case| case.lot);
                if !lot.is_some_and(|lot| new.lots.contains(&lot)) {
                    let text = "there is no such case of the lots";
                    faults.add_value(format!("cases[{at}]"), serial, text);
                }
            }
            let held: BTreeSet<_> = known.into_iter().map(|case| case.lot).collect();
            (held, "no case of it is named")
        }
        Covers::Span(span) => {
            if places::last(conn, span.place).await?.is_none() {
                faults.add_value("place", span.place, "there is no such place");
            }
            let held = lots_in(conn, *span).await?.into_iter().collect();
            (held, "no case of it passed the place in the span")
        }
    };
    for (at, lot) in new.lots.iter().enumerate().filter(|(_, lot)| !held.contains(lot)) {
        faults.add_value(format!("lots[{at}]"), lot, nothing);
    }
    Ok(faults.into_result(Some(()))?)
}
