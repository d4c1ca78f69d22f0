//! Opening stock and destruction, both signed.
//! It never lets a statement stand for a lot that was made here.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use platform::records;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::rpc::lots::{BIND_LOT, binding, plan_in_force};
use crate::shape::lots::{NewLot, Origin};
use crate::shape::making::moves::{destruction_in, destruction_out, opening_in};
use crate::store::making::ends;
use crate::{Genealogy, shape, store};

/// The kind of a lot that was there before the plant's records began.
const OPENING_STOCK: &str = "opening_stock";

/// Takes up opening stock.
pub async fn take_up(
    service: &Genealogy,
    request: Request<v1::TakeUpOpeningStockRequest>,
) -> Result<Response<v1::Lot>, Status> {
    let call = Call::of(request.extensions())?;
    let plant = &service.house.plant;
    let asked = opening_in(&call, plant, request.get_ref())?;
    let (stamp, place) = (asked.stamp.clone(), asked.place);
    let (known, place) = service
        .db
        .read("genealogy.before_opening_stock", |conn| {
            Box::pin(async move {
                let known = store::lots::known(conn, &stamp).await?;
                Ok((known, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some(lot) = known {
        return Ok(Response::new(shape::lots::lot_out(lot)));
    }
    let (stamp, opening, place) = asked.at(place)?;
    let answer = plan_in_force(service, opening.plan).await?;
    let plan = shape::lots::plan_in(opening.plan, OPENING_STOCK, &answer);
    let plan = Some(plan.map_err(|reason| Failure::refused(vec![reason]))?);
    let (kind, pattern) = (OPENING_STOCK.to_owned(), shape::lots::pattern(plant)?);
    let statement = (records::new_id(), opening.statement);
    let (content, origin) = (opening.content, Origin::Made(statement.0));
    let new = NewLot { stamp, kind, content, origin, place, plan, pattern };
    let of =
        Arc::new((call, new, statement, service.house.tickets.clone(), service.outbox.clone()));
    let lot = service
        .db
        .write("genealogy.take_up_opening_stock", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (call, new, (id, statement), tickets, outbox) = &*of;
                // A repeated call is told by its record: its ticket may have expired since.
                if let Some(lot) = store::lots::known(conn, &new.stamp).await? {
                    return Ok(lot);
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                let lot = ends::take_up(conn, new, (*id, statement), &ticket).await?;
                if let Some(message) = binding(new) {
                    outbox.put(conn, &new.stamp.subject, BIND_LOT, &message).await?;
                }
                Ok(lot)
            })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(shape::lots::lot_out(lot)))
}

/// Records a destruction.
pub async fn destroy(
    service: &Genealogy,
    request: Request<v1::RecordDestructionRequest>,
) -> Result<Response<v1::Destruction>, Status> {
    let call = Call::of(request.extensions())?;
    let new = destruction_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((call, new, service.house.tickets.clone()));
    let (row, cases) = service
        .db
        .write("genealogy.record_destruction", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (call, new, tickets) = &*of;
                // A repeated call is told by its record: its ticket may have expired since.
                if let Some(gone) = ends::known(conn, &new.stamp).await? {
                    return Ok(gone);
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                ends::destroy(conn, new, &ticket).await
            })
        })
        .await?;
    Ok(Response::new(destruction_out(row, cases)))
}
