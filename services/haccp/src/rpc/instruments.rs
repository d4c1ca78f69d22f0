//! Instruments: kept by version, checked against a reference, used by readings.
//! It never makes a reading good: an instrument without a good check proves nothing.

use std::sync::Arc;

use domain::units::{Quantity, Unit};
use domain::verdict::{Judgement, Verdict};
use platform::caller::Call;
use platform::error::Failure;
use platform::moments::Moments;
use platform::pages::Page;
use platform::records::NewVersion;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::Haccp;
use crate::shape::follows::LessSafe;
use crate::shape::instruments::{self as shape, GoodCheck, InstrumentContent, NewCheck, Used};
use crate::store::instruments::{self as store, CHECK, INSTRUMENT, InstrumentRow};
use crate::store::readings::ReadingRow;
use crate::store::rows::{self, Record};
use crate::store::safety;

/// Adds an instrument or a version of one.
pub async fn put(
    service: &Haccp,
    request: Request<v1::PutInstrumentRequest>,
) -> Result<Response<v1::Instrument>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::instrument_in(&call, &service.house.plant, request.get_ref())?;
    let new = Arc::new(new);
    let row = service
        .db
        .write("haccp.put_instrument", move |conn| {
            let new = new.clone();
            Box::pin(async move {
                let last = store::last(conn, new.of).await?;
                if rows::known(conn, INSTRUMENT, &new.stamp).await? {
                    return last.ok_or_else(|| Failure::internal("an instrument is gone"));
                }
                if new.is_known && last.is_none() {
                    return Err(Failure::not_found("instrument"));
                }
                let version = last.map_or(1, |last| last.version + 1);
                rows::insert(conn, &record(&new, version)).await?;
                let row = store::last(conn, new.of).await?;
                row.ok_or_else(|| Failure::internal("an instrument is gone"))
            })
        })
        .await?;
    let mut shown = shown(service, vec![row]).await?;
    shown.pop().map(Response::new).ok_or_else(|| Failure::not_found("instrument").into())
}

fn record(new: &NewVersion<InstrumentContent>, version: i32) -> Record {
    let (columns, entry) = shape::instrument_record(new, version);
    Record {
        table: INSTRUMENT,
        form: "haccp.instrument/1",
        stamp: new.stamp.clone(),
        moments: None,
        columns,
        entry,
    }
}

/// Instruments, each with its last check.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListInstrumentsRequest>,
) -> Result<Response<v1::ListInstrumentsResponse>, Status> {
    let page = Page::of(request.get_ref().page_size, &request.get_ref().page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("haccp.list_instruments", |conn| {
            Box::pin(async move { store::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let instruments = shown(service, rows).await?;
    Ok(Response::new(v1::ListInstrumentsResponse { instruments, next_page_token }))
}

async fn shown(service: &Haccp, rows: Vec<InstrumentRow>) -> Result<Vec<v1::Instrument>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut checks = service
        .db
        .read("haccp.last_instrument_checks", |conn| {
            Box::pin(async move { store::last_checks(conn, &ids).await })
        })
        .await?;
    let mut shown = Vec::with_capacity(rows.len());
    for row in rows {
        let at = checks.iter().position(|check| check.instrument == row.id);
        let last = at.map(|at| shape::check_out(checks.swap_remove(at)));
        shown.push(shape::instrument_out(row, last));
    }
    Ok(shown)
}

/// Records an instrument held against a reference.
pub async fn check(
    service: &Haccp,
    request: Request<v1::CheckInstrumentRequest>,
) -> Result<Response<v1::InstrumentCheck>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::check_in(&call, &service.house.plant, request.get_ref())?);
    let outbox = service.outbox.clone();
    let row = service
        .db
        .write("haccp.check_instrument", move |conn| {
            let (new, outbox) = (new.clone(), outbox.clone());
            Box::pin(async move {
                if rows::known(conn, CHECK, &new.stamp).await? {
                    return store::check(conn, new.stamp.id).await;
                }
                let instrument = store::last(conn, new.instrument).await?;
                let instrument = instrument.ok_or_else(|| Failure::not_found("instrument"))?;
                let (record, judgement) = checked(&new, &instrument)?;
                rows::insert(conn, &record).await?;
                if judgement.verdict != Verdict::Pass {
                    let at = new.moments.by_the_plant(new.moments.observed_at);
                    let lots = store::measured_since_good(conn, new.instrument, at).await?;
                    let about = format!("instrument:{}", new.instrument);
                    let what = format!("{}: {}", instrument.name, judgement.reasons.join(" "));
                    // It names no lots, so it raises the plant's own version.
                    let less = LessSafe { named: Vec::new(), ..LessSafe::of(about, &what, &lots) };
                    safety::tell(conn, &outbox, &less).await?;
                }
                store::check(conn, new.stamp.id).await
            })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(shape::check_out(row)))
}

fn checked(new: &NewCheck, instrument: &InstrumentRow) -> Result<(Record, Judgement), Failure> {
    let unit = Unit::from_code(&instrument.unit);
    let tolerance = instrument.tolerance.parse().ok().zip(unit);
    let tolerance = tolerance.map(|(value, unit)| Quantity::new(value, unit));
    let tolerance = tolerance.ok_or_else(|| Failure::internal("a tolerance is no quantity"))?;
    let judgement = shape::judge_check(new.shown.unit, &new.error, &tolerance);
    let (columns, entry) = shape::check_record(new, instrument.version, &judgement);
    let record = Record {
        table: CHECK,
        form: "haccp.instrument_check/1",
        stamp: new.stamp.clone(),
        moments: Some(new.moments),
        columns,
        entry,
    };
    Ok((record, judgement))
}

/// An instrument as it was when something was read with it. Faults: no such instrument; one that
/// is out of use, unless what it read has happened.
pub async fn used(service: &Haccp, id: Uuid, moments: &Moments) -> Result<Used, Failure> {
    let at = moments.by_the_plant(moments.observed_at);
    let found = service
        .db
        .read("haccp.instrument_used", |conn| Box::pin(store::used(conn, id, at)))
        .await?;
    let fault = |text: &str| Failure::fault("instrument", id, text);
    let found = found.ok_or_else(|| fault("must be an instrument of the plant"))?;
    if !(found.in_use || moments.happened) {
        return Err(fault("this instrument is not in use"));
    }
    let is_good = found.verdict.as_deref() == Some(Verdict::Pass.word());
    let check = found.check.zip(found.error).zip(found.unit).filter(|_| is_good);
    let good = check.map(|((check, error), unit)| GoodCheck { check, error, unit });
    Ok(Used { instrument: id, name: found.name, good })
}

/// The instrument of a first reading, for an amendment of it: with what was taken off then.
pub async fn used_before(service: &Haccp, first: &ReadingRow) -> Result<Option<Used>, Failure> {
    let Some(instrument) = first.instrument else { return Ok(None) };
    let moments = Moments { happened: true, ..first.moments };
    let now = used(service, instrument, &moments).await?;
    let kept = first.instrument_check.zip(first.correction.clone());
    let good = kept.map(|(check, error)| GoodCheck { check, error, unit: first.unit.clone() });
    Ok(Some(Used { good, ..now }))
}
