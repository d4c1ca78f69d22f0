//! The two ends of a lot that are signed: taken up from before the records, and destroyed.
//! It never destroys more than there is, nor a case that has left.

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::{Failure, Reason};
use platform::records::{self, Stamp};
use platform::tickets::Ticket;
use uuid::Uuid;

use super::stock;
use crate::schema::{case_state, destroyed_case, destruction, opening_statement, packed_case};
use crate::shape::lots::{Mass, NewLot};
use crate::shape::making::judge::grams;
use crate::shape::making::moves::{Destroyed, NewDestruction, destruction_entry, statement_entry};
use crate::store::lots::{self, Standing};

/// A destruction as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = destruction, check_for_backend(diesel::pg::Pg))]
pub struct DestructionRow {
    pub id: Uuid,
    pub lot: Uuid,
    pub mass_value: BigDecimal,
    pub mass_unit: String,
    pub deviation: Option<Uuid>,
    pub reason: String,
    pub recorded_at: Timestamp,
    pub entered_by_name: String,
    pub observed_at: Timestamp,
}

/// A destruction with its cases.
pub type Gone = (DestructionRow, Vec<String>);

/// A case while its row is locked: serial, lot, mass, shipment, destruction.
type Case = (String, Uuid, BigDecimal, Option<Uuid>, Option<Uuid>);

/// Takes up a lot with the signed statement that stands for all before it, each with its leaf.
/// The lot names the statement as what made it.
pub async fn take_up(
    conn: &mut AsyncPgConnection,
    new: &NewLot,
    statement: (Uuid, &str),
    ticket: &Ticket,
) -> Result<Standing, Failure> {
    let (id, text) = statement;
    let stamp = Stamp { id, ..new.stamp.clone() };
    let row = (
        opening_statement::id.eq(id),
        opening_statement::statement.eq(text),
        opening_statement::ticket.eq(ticket.id),
        stamped!(opening_statement, &stamp),
    );
    diesel::insert_into(opening_statement::table).values(row).execute(conn).await?;
    let entry = statement_entry(id, new.stamp.id, text, ticket);
    let leaf = stamp.leaf("genealogy.opening_statement/1", entry)?;
    records::insert_leaves(conn, vec![leaf]).await?;
    lots::make(conn, new).await
}

/// The destruction that this very call recorded before, if it did.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Gone>, Failure> {
    if is_known!(conn, destruction, stamp) { find(conn, stamp.id).await } else { Ok(None) }
}

/// Records a destruction with its leaf, and takes it off what is on hand. Refused with every
/// reason: more than is on hand, cases that have left or were destroyed before.
pub async fn destroy(
    conn: &mut AsyncPgConnection,
    new: &NewDestruction,
    ticket: &Ticket,
) -> Result<Gone, Failure> {
    let on_hand = stock::lock(conn, &[new.lot]).await?;
    if on_hand.is_empty() {
        return Err(Failure::fault("lot", new.lot, "there is no such lot"));
    }
    let stock = stock::stocks(conn, &[new.lot], &on_hand).await?.pop();
    let mut stock = stock.ok_or_else(|| Failure::internal("a lot was lost while locked"))?;
    let mass = match &new.destroyed {
        Destroyed::Mass(mass) => mass.clone(),
        Destroyed::Cases(serials) => {
            let mass_g = destroy_cases(conn, new, serials).await?;
            // What is in those cases may be destroyed with them.
            stock.packed_g -= &mass_g;
            Mass { value: mass_g.clone(), unit: "g".into(), grams: mass_g }
        }
    };
    if let Some(broken) = stock.more_than_on_hand(&mass) {
        return Err(Failure::refused(vec![broken.reason]));
    }
    insert(conn, new, &mass, ticket).await?;
    stock::take(conn, &[(new.lot, mass.grams.clone())]).await?;
    let gone = find(conn, new.stamp.id).await?;
    gone.ok_or_else(|| Failure::internal("a destruction was lost"))
}

/// Locks the cases and gives their mass; they must be of the lot, here, and whole.
async fn destroy_cases(
    conn: &mut AsyncPgConnection,
    new: &NewDestruction,
    serials: &[String],
) -> Result<BigDecimal, Failure> {
    let here: Vec<String> = case_state::table
        .filter(case_state::serial.eq_any(serials))
        .order(case_state::serial.asc())
        .select(case_state::serial)
        .for_no_key_update()
        .load(conn)
        .await?;
    let cases: Vec<Case> = case_state::table
        .inner_join(packed_case::table.on(packed_case::serial.eq(case_state::serial)))
        .filter(case_state::serial.eq_any(&here))
        .order(case_state::serial.asc())
        .select((
            case_state::serial,
            packed_case::lot,
            packed_case::mass_g,
            case_state::shipment,
            case_state::destruction,
        ))
        .load(conn)
        .await?;
    let mut faults = Faults::new();
    for (at, serial) in serials.iter().enumerate() {
        let is_of_lot = cases.iter().any(|case| case.0 == *serial && case.1 == new.lot);
        if !is_of_lot {
            faults.add_value(format!("cases[{at}]"), serial, "is no case of this lot");
        }
    }
    faults.into_result(Some(())).map_err(Failure::from)?;
    let reasons: Vec<Reason> = cases.iter().filter_map(|case| gone(new.lot, case)).collect();
    if !reasons.is_empty() {
        return Err(Failure::refused(reasons));
    }
    Ok(cases.iter().map(|case| &case.2).sum())
}

fn gone(lot: Uuid, (serial, _, mass_g, shipment, destruction): &Case) -> Option<Reason> {
    let mass = grams(mass_g);
    let (code, message) = match (shipment, destruction) {
        (Some(shipment), _) => {
            ("CASE_SHIPPED", format!("The case {serial} left with the shipment {shipment}."))
        }
        (_, Some(before)) => {
            let text = format!("The case {serial} of {mass} g was destroyed before, as {before}.");
            ("CASE_DESTROYED", text)
        }
        (None, None) => return None,
    };
    Some(Reason {
        code,
        subject: format!("lot:{lot}"),
        message,
        who: "QA".into(),
        way_on: format!("Leave {serial} out."),
    })
}

async fn insert(
    conn: &mut AsyncPgConnection,
    new: &NewDestruction,
    mass: &Mass,
    ticket: &Ticket,
) -> Result<(), Failure> {
    let id = new.stamp.id;
    let row = (
        destruction::id.eq(id),
        destruction::lot.eq(new.lot),
        destruction::mass_value.eq(&mass.value),
        destruction::mass_unit.eq(&mass.unit),
        destruction::mass_g.eq(&mass.grams),
        destruction::deviation.eq(new.deviation),
        destruction::reason.eq(&new.reason),
        destruction::ticket.eq(ticket.id),
        stamped!(destruction, &new.stamp),
        moments!(destruction, &new.moments),
    );
    diesel::insert_into(destruction::table).values(row).execute(conn).await?;
    if let Destroyed::Cases(serials) = &new.destroyed {
        let links = serials
            .iter()
            .map(|serial| (destroyed_case::destruction.eq(id), destroyed_case::serial.eq(serial)));
        let links: Vec<_> = links.collect();
        diesel::insert_into(destroyed_case::table).values(links).execute(conn).await?;
        // What is destroyed stands on no pallet any more.
        diesel::update(case_state::table.filter(case_state::serial.eq_any(serials)))
            .set((case_state::destruction.eq(id), case_state::pallet.eq(None::<Uuid>)))
            .execute(conn)
            .await?;
    }
    let entry = destruction_entry(new, mass, ticket);
    let leaf = new.stamp.leaf("genealogy.destruction/1", entry)?;
    records::insert_leaves(conn, vec![leaf]).await
}

async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Gone>, Failure> {
    let row = destruction::table.find(id).select(DestructionRow::as_select());
    let Some(row) = row.first(conn).await.optional()? else { return Ok(None) };
    let cases = destroyed_case::table
        .filter(destroyed_case::destruction.eq(id))
        .order(destroyed_case::serial.asc())
        .select(destroyed_case::serial)
        .load(conn)
        .await?;
    Ok(Some((row, cases)))
}
