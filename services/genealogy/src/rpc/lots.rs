//! Received lots.
//! It never judges a plan itself: haccp says which version is in force, or nothing is received.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::hop;
use platform::pages::Page;
use platform::shape::ids;
use prost::Message as _;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::{BindLotRequest, PlanInForceRequest, PlanInForceResponse};
use wire::v1;

use crate::shape::lots::{NewLot, RECEIVED};
use crate::shape::making::judge::{self, Broken};
use crate::store::lots::Wanted;
use crate::{Genealogy, shape, store};

/// What haccp is asked before a lot is bound to a plan.
const PLAN_IN_FORCE: &str = "/hankbook.internal.v1.HaccpInternal/PlanInForce";
/// What haccp is told of a lot that was bound.
pub const BIND_LOT: &str = "/hankbook.internal.v1.HaccpInternal/BindLot";

/// Receives a lot.
pub async fn receive(
    service: &Genealogy,
    request: Request<v1::ReceiveLotRequest>,
) -> Result<Response<v1::Lot>, Status> {
    let call = Call::of(request.extensions())?;
    let plant = &service.house.plant;
    let asked = shape::lots::received_in(&call, plant, request.get_ref())?;
    let stamp = asked.stamp.clone();
    let (supplier, place) = (asked.supplier, asked.place);
    let (known, supplier, place) = service
        .db
        .read("genealogy.before_lot", |conn| {
            Box::pin(async move {
                let known = store::lots::known(conn, &stamp).await?;
                let supplier = store::partners::last(conn, supplier).await?;
                let place = store::places::last(conn, place).await?;
                Ok((known, supplier, place))
            })
        })
        .await?;
    if let Some(lot) = known {
        return Ok(Response::new(shape::lots::lot_out(lot)));
    }
    let (stamp, plan) = (asked.stamp.clone(), asked.plan);
    let (content, origin, place) = asked.content(supplier, place)?;
    let answer = plan_in_force(service, plan).await?;
    let plan = shape::lots::plan_in(plan, RECEIVED, &answer);
    let (plan, broken) = match plan {
        Ok(plan) => (Some(plan), None),
        Err(reason) => (None, Some(Broken::no_plan(reason, vec![stamp.id]))),
    };
    judge::refuse(&content.moments, broken.as_slice())?;
    let (kind, pattern) = (RECEIVED.to_owned(), shape::lots::pattern(plant)?);
    let new = NewLot { stamp, kind, content, origin, place, plan, pattern };
    let lot = record(service, new, broken).await?;
    Ok(Response::new(shape::lots::lot_out(lot)))
}

/// Asks haccp, with no connection held meanwhile; no answer is no plan.
pub async fn plan_in_force(
    service: &Genealogy,
    plan: Uuid,
) -> Result<PlanInForceResponse, Failure> {
    let hop = service.house.hop_for_service(PLAN_IN_FORCE)?;
    let asked = PlanInForceRequest { plan: plan.to_string() }.encode_to_vec();
    let sent = hop::unary(hop, PLAN_IN_FORCE, asked.into(), Default::default()).await;
    let (_, answer) = sent.map_err(|status| {
        let text = "The plan in force cannot be asked for now; nothing was stored.";
        Failure::new(Kind::Unavailable, text).with_cause(status)
    })?;
    PlanInForceResponse::decode(answer).map_err(Failure::internal)
}

/// Records the lot and owes haccp the message that it was bound. A fact that names no plan in
/// force is bound to nothing: it is held and is an open item.
async fn record(
    service: &Genealogy,
    new: NewLot,
    broken: Option<Broken>,
) -> Result<store::lots::Standing, Failure> {
    let of = Arc::new((new, broken, service.outbox.clone()));
    let lot = service
        .db
        .write("genealogy.receive_lot", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (new, broken, outbox) = &*of;
                let recorded = store::lots::record(conn, new).await?;
                if !recorded.is_new {
                    return Ok(recorded.lot);
                }
                if let Some(message) = binding(new) {
                    outbox.put(conn, &new.stamp.subject, BIND_LOT, &message).await?;
                }
                if broken.is_none() {
                    return Ok(recorded.lot);
                }
                let cause = (&new.stamp, "The lot");
                store::items::record(conn, cause, broken.as_slice(), &[]).await?;
                let held = store::lots::find(conn, new.stamp.id).await?;
                held.ok_or_else(|| Failure::internal("a lot was lost while it was held"))
            })
        })
        .await?;
    service.outbox.wake();
    Ok(lot)
}

/// What haccp is told of a lot; nothing of one that no plan binds.
pub fn binding(new: &NewLot) -> Option<BindLotRequest> {
    new.plan.as_ref().map(|plan| BindLotRequest {
        lot: new.stamp.id.to_string(),
        plan: plan.id.to_string(),
        plan_version: Some(plan.version),
    })
}

/// One lot as it stands now.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetLotRequest>,
) -> Result<Response<v1::Lot>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().lot, "lot", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let lot =
        service.db.read("genealogy.get_lot", |conn| Box::pin(store::lots::find(conn, id))).await?;
    let lot = lot.ok_or_else(|| Failure::not_found("lot"))?;
    Ok(Response::new(shape::lots::lot_out(lot)))
}

/// Lots in the order in which they were made, or the newest first; the one of a code, or those of
/// a run.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListLotsRequest>,
) -> Result<Response<v1::ListLotsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut faults = Faults::new();
    let lots = ids(&request.lots, "lots", &mut faults);
    faults.into_result(Some(())).map_err(Failure::from)?;
    let wanted = Wanted {
        code: request.code.to_uppercase(),
        run: request.run.trim().to_owned(),
        newest_first: request.newest_first,
        lots,
        kinds: request.kinds,
    };
    let mut lots = service
        .db
        .read("genealogy.list_lots", |conn| {
            Box::pin(async move { store::lots::list(conn, &wanted, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut lots, |lot| lot.row.id.to_string());
    let lots = lots.into_iter().map(shape::lots::lot_out).collect();
    Ok(Response::new(v1::ListLotsResponse { lots, next_page_token }))
}
