//! Readings: judged at entry by an immutable version, written with their leaf.
//! It never heals an item: a later good reading stands beside the failed one.

use std::collections::HashMap;
use std::sync::Arc;

use domain::fault::Faults;
use domain::verdict::{Judgement, Verdict};
use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::pages::Page;
use platform::records::{self, Leaf, Stamp};
use platform::shape::{id, optional_date, optional_id};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use super::{cooking, instruments};
use crate::plans::not_in_force;
use crate::shape::follows::Follows;
use crate::shape::readings::{self, NewReading, amendment_in, reading_in, reading_out};
use crate::store::insert_reading::{Done, insert};
use crate::store::readings::{Amends, ReadingRow};
use crate::store::safety::follow;
use crate::{Haccp, store};

/// All that one reading writes.
#[derive(Clone)]
struct Writing {
    row: ReadingRow,
    leaf: Leaf,
    follows: Follows,
}

/// Records and judges a reading.
pub async fn record(
    service: &Haccp,
    request: Request<v1::RecordReadingRequest>,
) -> Result<Response<v1::Reading>, Status> {
    let call = Call::of(request.extensions())?;
    let (mut new, instrument) = reading_in(&call, &service.house.plant, request.get_ref())?;
    let plan = service.plan(new.plan.0, new.plan.1).await?;
    if let Some(instrument) = instrument {
        // The instrument may have gone out of use since: a repeated call is told by its record.
        if let Some(row) = recorded(service, &new.stamp).await? {
            return Ok(Response::new(reading_out(row, &plan, Vec::new())));
        }
        new.used = Some(instruments::used(service, instrument, &new.moments).await?);
    }
    let (check, judgement) = readings::judged(&new, &plan)?;
    let follows = Follows::of(&new, check, &judgement)?;
    let writing = writing(&new, &judgement, follows)?;
    let row = match writing.follows {
        Follows::Nothing => pass(service, writing).await?,
        // What is not met writes more than one statement holds.
        _ => fail(service, writing).await?,
    };
    cooking::after_reading(service, check, &new).await?;
    Ok(Response::new(reading_out(row, &plan, Vec::new())))
}

/// The reading that this very call recorded before.
async fn recorded(service: &Haccp, stamp: &Stamp) -> Result<Option<ReadingRow>, Failure> {
    let id = stamp.id;
    let found = service
        .db
        .read("haccp.recorded_reading", |conn| Box::pin(store::readings::find(conn, id)))
        .await?;
    if let Some(found) = &found {
        stamp.same_as(&found.entered_by, &found.fingerprint)?;
    }
    Ok(found)
}

fn writing(new: &NewReading, judgement: &Judgement, follows: Follows) -> Result<Writing, Failure> {
    let mut row = readings::row(new, judgement.verdict, None);
    row.deviation = follows.deviation();
    row.is_less_safe = follows.is_less_safe();
    let leaf = new.stamp.leaf(readings::form(new), readings::entry(new, judgement, None))?;
    Ok(Writing { row, leaf, follows })
}

/// The short way: one statement.
async fn pass(service: &Haccp, writing: Writing) -> Result<ReadingRow, Failure> {
    let work = Arc::new(writing);
    let shared = work.clone();
    let done = service
        .db
        .append("haccp.record_reading", move |conn| {
            let work = shared.clone();
            Box::pin(async move { insert(conn, &work.row, &work.leaf).await })
        })
        .await
        .map_err(lots_fault)?;
    match done {
        Done::Written => Ok(Arc::unwrap_or_clone(work).row),
        done => known(service, &work.row, done).await,
    }
}

/// The long way: reading, what follows of it, safety versions and the message, together.
async fn fail(service: &Haccp, writing: Writing) -> Result<ReadingRow, Failure> {
    let work = Arc::new(writing);
    let (shared, outbox) = (work.clone(), service.outbox.clone());
    let done = service
        .db
        .write("haccp.record_failed_reading", move |conn| {
            let (work, outbox) = (shared.clone(), outbox.clone());
            Box::pin(async move {
                let done = insert(conn, &work.row, &work.leaf).await?;
                if done == Done::Written {
                    follow(conn, &outbox, &work.follows).await?;
                }
                Ok(done)
            })
        })
        .await
        .map_err(lots_fault)?;
    service.outbox.wake();
    match done {
        Done::Written => Ok(Arc::unwrap_or_clone(work).row),
        done => known(service, &work.row, done).await,
    }
}

/// The record that already has this id, when it is this very call.
async fn known(service: &Haccp, row: &ReadingRow, done: Done) -> Result<ReadingRow, Failure> {
    let id = row.id;
    let found = service
        .db
        .read("haccp.known_reading", |conn| Box::pin(store::readings::find(conn, id)))
        .await?;
    match found {
        Some(found) => {
            records::same_call(
                id,
                (&row.entered_by, &row.fingerprint),
                (&found.entered_by, &found.fingerprint),
            )?;
            Ok(found)
        }
        None if done == Done::NotInForce => Err(not_in_force(row.plan, row.plan_version)),
        None => Err(Failure::internal("a reading was there and is gone")),
    }
}

fn lots_fault(failure: Failure) -> Failure {
    super::deviations::lots_fault(failure, "reading_lot_lot_fkey")
}

/// One reading with its amendments.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetReadingRequest>,
) -> Result<Response<v1::Reading>, Status> {
    let mut faults = Faults::new();
    let reading = id(&request.get_ref().reading, "reading", &mut faults);
    let reading = faults.into_result(reading).map_err(Failure::from)?;
    let row = service
        .db
        .read("haccp.get_reading", |conn| Box::pin(store::readings::find(conn, reading)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("reading"))?;
    let mut shown = shown(service, vec![row]).await?;
    shown.pop().map(Response::new).ok_or_else(|| Failure::not_found("reading").into())
}

/// First readings, each with its amendments.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListReadingsRequest>,
) -> Result<Response<v1::ListReadingsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let lot = optional_id(&request.lot, "lot", &mut faults);
    let day = optional_date(&request.day, "day", &mut faults);
    let wanted = faults.into_result(Some((lot, day))).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("haccp.list_readings", |conn| {
            Box::pin(async move { store::readings::list(conn, wanted, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let readings = shown(service, rows).await?;
    Ok(Response::new(v1::ListReadingsResponse { readings, next_page_token }))
}

/// Rows as messages, each with its amendments beside it.
async fn shown(service: &Haccp, rows: Vec<ReadingRow>) -> Result<Vec<v1::Reading>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let amendments = service
        .db
        .read("haccp.amendments", |conn| {
            Box::pin(async move { store::readings::amendments(conn, &ids).await })
        })
        .await?;
    let mut beside: HashMap<Uuid, Vec<v1::Reading>> = HashMap::new();
    for row in amendments {
        let plan = service.plan(row.plan, row.plan_version).await?;
        let of = row.amends.as_ref().map_or(row.id, |amends| amends.supersedes);
        beside.entry(of).or_default().push(reading_out(row, &plan, Vec::new()));
    }
    let mut shown = Vec::with_capacity(rows.len());
    for row in rows {
        let plan = service.plan(row.plan, row.plan_version).await?;
        let amendments = beside.remove(&row.id).unwrap_or_default();
        shown.push(reading_out(row, &plan, amendments));
    }
    Ok(shown)
}

/// Amends a reading, signed. What was not met stays so; what turns out not met opens a deviation.
pub async fn amend(
    service: &Haccp,
    request: Request<v1::AmendReadingRequest>,
) -> Result<Response<v1::Reading>, Status> {
    let call = Call::of(request.extensions())?;
    let new = amendment_in(&call, request.get_ref())?;
    let of = new.of;
    let first = service
        .db
        .read("haccp.amended_reading", |conn| Box::pin(store::readings::find(conn, of)))
        .await?;
    let first = first.filter(|first| first.amends.is_none());
    let first = first.ok_or_else(|| Failure::not_found("first reading"))?;
    let used = instruments::used_before(service, &first).await?;
    let about = (request.get_ref(), used);
    let reading = new.reading(&first, (&call, &service.house.plant), about)?;
    let plan = service.plan(first.plan, first.plan_version).await?;
    let (check, judgement) = readings::judged(&reading, &plan)?;
    let follows = match first.verdict == Verdict::Fail.word() {
        // It was not met before: nothing new follows.
        true => Follows::Nothing,
        false => Follows::of(&reading, check, &judgement)?,
    };
    let read = reading.clone();
    let amending = Amending { call, reading, judgement, follows, of, reason: new.reason };
    let row = write_amendment(service, amending).await?;
    cooking::after_reading(service, check, &read).await?;
    Ok(Response::new(reading_out(row, &plan, Vec::new())))
}

/// All that an amendment writes.
struct Amending {
    call: Call,
    reading: NewReading,
    judgement: Judgement,
    follows: Follows,
    of: Uuid,
    reason: String,
}

impl Amending {
    /// The row and the leaf, once the signature is there.
    fn signed(&self, house: &platform::service::House) -> Result<(ReadingRow, Leaf), Failure> {
        let ticket = house.tickets.redeem(&self.call, &format!("reading:{}", self.of))?;
        let reason = self.reason.clone();
        let amends = Amends { supersedes: self.of, reason, ticket: ticket.id };
        let mut row = readings::row(&self.reading, self.judgement.verdict, Some(amends));
        row.deviation = self.follows.deviation();
        row.is_less_safe = self.follows.is_less_safe();
        let named = (self.of, self.reason.as_str(), &ticket);
        let entry = readings::entry(&self.reading, &self.judgement, Some(named));
        Ok((row, self.reading.stamp.leaf(readings::form(&self.reading), entry)?))
    }
}

async fn write_amendment(service: &Haccp, amending: Amending) -> Result<ReadingRow, Failure> {
    let work = Arc::new(amending);
    let (house, outbox) = (service.house.clone(), service.outbox.clone());
    let row = service
        .db
        .write("haccp.amend_reading", move |conn| {
            let (work, house, outbox) = (work.clone(), house.clone(), outbox.clone());
            Box::pin(async move {
                let stamp = &work.reading.stamp;
                if let Some(known) = store::readings::find(conn, stamp.id).await? {
                    stamp.same_as(&known.entered_by, &known.fingerprint)?;
                    return Ok(known);
                }
                let (row, leaf) = work.signed(&house)?;
                if insert(conn, &row, &leaf).await? != Done::Written {
                    // The same call was faster; its record is found at the next try. Going on
                    // would raise the safety versions without a record.
                    return Err(Failure::new(Kind::Contended, "Others amend the same reading."));
                }
                match &work.follows {
                    // The record that it amends counted; whoever relied on it must look again.
                    // An amendment ends no hold.
                    Follows::Nothing | Follows::MayEndHold { .. } => {
                        store::safety::raise(conn, &row.lots).await?
                    }
                    follows => follow(conn, &outbox, follows).await?,
                }
                Ok(row)
            })
        })
        .await?;
    service.outbox.wake();
    Ok(row)
}
