//! Shipping: what is seen, what haccp and formulas say of it, and the record, in this order.
//! It never holds a connection while they are asked, and ships nothing on an answer that is old.

use std::sync::Arc;
use std::time::Instant;

use domain::fault::Faults;
use futures_util::future::join;
use platform::caller::Call;
use platform::clock::monotonic;
use platform::error::{Failure, Kind};
use platform::hop;
use platform::pages::Page;
use platform::shape::optional_date;
use prost::Message as _;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::ClearResponse;
use wire::v1;

use crate::rpc::formulas;
use crate::shape::shipping::judgement::{self, Said, Told};
use crate::shape::shipping::picture::Picture;
use crate::shape::shipping::shipments::{self as shape, Planned, Wanted};
use crate::store::shipping::shipments::Written;
use crate::{Genealogy, store};

/// What haccp is asked before anything leaves.
const CLEAR: &str = "/hankbook.internal.v1.HaccpInternal/Clear";
/// How often a shipment is judged anew when others changed what it is about.
const TRIES: u32 = 3;

/// What was seen and said, and since when, by the monotonic clock.
struct Judged {
    picture: Picture,
    said: Said,
    read_at: Instant,
}

/// Says whether pallets might leave now.
pub async fn check(
    service: &Genealogy,
    request: Request<v1::CheckShipmentRequest>,
) -> Result<Response<v1::CheckShipmentResponse>, Status> {
    let mut faults = Faults::new();
    let pallets = shape::pallets_in(&request.get_ref().pallets, &mut faults);
    let pallets = faults.into_result(Some(pallets)).map_err(Failure::from)?;
    let Judged { picture, said, .. } = judged(service, &pallets).await?;
    let obstacles = judgement::obstacles(&picture, &said);
    let said = judgement::by_pallet(&picture, &obstacles);
    let checks = picture.pallets.iter().zip(said).map(|(pallet, said)| v1::PalletCheck {
        pallet: pallet.id.to_string(),
        label: pallet.label.clone(),
        is_clear: said.reasons.is_empty(),
        reasons: said.reasons,
        clear_cases: said.clear_cases,
    });
    Ok(Response::new(v1::CheckShipmentResponse { pallets: checks.collect() }))
}

/// Ships pallets, all or none.
pub async fn ship(
    service: &Genealogy,
    request: Request<v1::ShipRequest>,
) -> Result<Response<v1::Shipment>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape::ship_in(&call, &service.house.plant, request.get_ref())?;
    let (stamp, customer, place) = (asked.stamp.clone(), asked.customer, asked.place);
    let (known, customer, place) = service
        .db
        .read("genealogy.before_shipment", |conn| {
            Box::pin(async move {
                let known = store::shipping::shipments::known(conn, &stamp).await?;
                let customer = store::partners::last(conn, customer).await?;
                Ok((known, customer, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some(known) = known {
        return Ok(Response::new(shape::shipment_out(known)));
    }
    let wanted = asked.content(customer, place)?;
    let shipment = tried(service, wanted).await?;
    Ok(Response::new(shape::shipment_out(shipment)))
}

/// Judges and writes, anew where others changed what was seen.
async fn tried(
    service: &Genealogy,
    wanted: Wanted,
) -> Result<store::shipping::shipments::Whole, Failure> {
    let mut last = None;
    for _ in 0..TRIES {
        let Judged { picture, said, read_at } = judged(service, &wanted.pallets).await?;
        let obstacles = judgement::obstacles(&picture, &said);
        let planned = shape::decide(wanted.clone(), picture, (&said, &obstacles), read_at)?;
        last = Some(planned.clone());
        if let Written::Recorded(whole) = write(service, planned).await? {
            return Ok(*whole);
        }
    }
    // What has left is recorded all the same, with that as a reason.
    if let Some(planned) = last.filter(|planned| planned.wanted.moments.happened) {
        let planned = planned.with_reason(shape::changed_meanwhile());
        if let Written::Recorded(whole) = write(service, planned).await? {
            return Ok(*whole);
        }
    }
    let text = "Others changed what was to ship while it was judged; nothing was shipped.";
    Err(Failure::new(Kind::Contended, text))
}

async fn write(service: &Genealogy, planned: Planned) -> Result<Written, Failure> {
    let planned = Arc::new(planned);
    service
        .db
        .write("genealogy.ship", move |conn| {
            let planned = planned.clone();
            Box::pin(async move { store::shipping::shipments::record(conn, &planned).await })
        })
        .await
}

/// Reads what stands on pallets, then asks haccp and formulas about it at once with no connection
/// held. The age of both answers counts from before the reading.
async fn judged(service: &Genealogy, pallets: &[Uuid]) -> Result<Judged, Failure> {
    let read_at = monotonic();
    let asked = pallets.to_vec();
    let picture = service
        .db
        .read("genealogy.shipment_picture", |conn| {
            Box::pin(async move { store::shipping::picture::read(conn, &asked).await })
        })
        .await?;
    shape::unknown_pallets(pallets, &picture)?;
    let (clear, cover) = join(clearance(service, &picture), covered(service, &picture)).await;
    Ok(Judged { picture, said: Said { clear, cover }, read_at })
}

/// Asks haccp. No answer, or one that cannot be read, is no clearance.
async fn clearance(service: &Genealogy, picture: &Picture) -> Told {
    if picture.cases.is_empty() {
        return Told::NotAsked;
    }
    let asked = picture.question().encode_to_vec();
    let hop = match service.house.hop_for_service(CLEAR) {
        Ok(hop) => hop,
        Err(_) => return Told::Away,
    };
    match hop::unary(hop, CLEAR, asked.into(), Default::default()).await {
        Ok((_, answer)) => {
            ClearResponse::decode(answer).map_or(Told::Away, |answer| Told::of(picture, answer))
        }
        Err(_) => Told::Away,
    }
}

/// Asks formulas. No answer, or one that cannot be read, covers nothing.
async fn covered(service: &Genealogy, picture: &Picture) -> Told {
    if picture.cases.is_empty() {
        return Told::NotAsked;
    }
    match formulas::cover(service, &picture.label_question()).await {
        Ok(answer) => Told::of_cover(picture, answer),
        Err(_) => Told::Away,
    }
}

/// One shipment.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetShipmentRequest>,
) -> Result<Response<v1::Shipment>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().shipment, "shipment", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let found = service
        .db
        .read("genealogy.get_shipment", |conn| Box::pin(store::shipping::shipments::find(conn, id)))
        .await?;
    let shipment = found.ok_or_else(|| Failure::not_found("shipment"))?;
    Ok(Response::new(shape::shipment_out(shipment)))
}

/// Shipments in the order in which they were recorded.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListShipmentsRequest>,
) -> Result<Response<v1::ListShipmentsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let day = optional_date(&request.day, "day", &mut faults);
    faults.into_result(Some(())).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut found = service
        .db
        .read("genealogy.list_shipments", |conn| {
            Box::pin(async move { store::shipping::shipments::list(conn, day, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut found, |whole| whole.row.id.to_string());
    let shipments = found.into_iter().map(shape::shipment_out).collect();
    Ok(Response::new(v1::ListShipmentsResponse { shipments, next_page_token }))
}
