//! Loads: started once genealogy has said which house and which racks, then read with verdicts.
//! It never asks genealogy while a connection is held.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::pages::Page;
use platform::shape::{id, ids, optional_id, optional_instant};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::Haccp;
use crate::rpc::genealogy;
use crate::shape::cooking::out::{curve_out, head_out};
use crate::shape::cooking::{NewLoad, load_in};
use crate::store::cooking::{block, lists, whole, written};
use crate::store::rows;

/// The most loads of a page that are judged: all their curves are read at once.
const JUDGED_MAX: i64 = 100;

/// Starts a load.
pub async fn start(
    service: &Haccp,
    request: Request<v1::StartLoadRequest>,
) -> Result<Response<v1::Load>, Status> {
    let call = Call::of(request.extensions())?;
    let new = load_in(&call, &service.house.plant, request.get_ref())?;
    let stamp = new.stamp.clone();
    let is_known = service
        .db
        .read("haccp.known_load", |conn| {
            Box::pin(async move { rows::known(conn, written::LOAD, &stamp).await })
        })
        .await?;
    let load = new.stamp.id;
    if !is_known {
        record(service, asked(service, new).await?).await?;
    }
    Ok(Response::new(service.load_now(load, call.received_at).await?))
}

/// Puts in what genealogy says of the house and the racks.
async fn asked(service: &Haccp, new: NewLoad) -> Result<NewLoad, Failure> {
    let place = genealogy::find_place(service, new.house).await?;
    let new = new.with_house(place)?;
    let lots: Vec<Uuid> = new.racks.iter().map(|(rack, _)| *rack).collect();
    match genealogy::closure_of(service, &lots).await {
        // Of lots that nobody made none is a rack.
        Err(failure) if failure.kind == Kind::NotFound => new.with_racks(Default::default()),
        closure => new.with_racks(closure?),
    }
}

async fn record(service: &Haccp, new: NewLoad) -> Result<(), Failure> {
    let new = Arc::new(new);
    service
        .db
        .write("haccp.start_load", move |conn| {
            let new = new.clone();
            Box::pin(async move {
                // Two loads of one rack wait for each other.
                for (rack, _) in ordered(&new) {
                    block::hold(conn, rack).await?;
                }
                if rows::known(conn, written::LOAD, &new.stamp).await? {
                    return Ok(());
                }
                written::refuse_loaded(conn, &new).await?;
                written::load(conn, &new).await
            })
        })
        .await
}

fn ordered(new: &NewLoad) -> Vec<(Uuid, String)> {
    let mut racks = new.racks.clone();
    racks.sort_unstable();
    racks
}

/// One load with what is proved of it.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetLoadRequest>,
) -> Result<Response<v1::Load>, Status> {
    let call = Call::of(request.extensions())?;
    let load = load_id(&request.get_ref().load)?;
    Ok(Response::new(service.load_now(load, call.received_at).await?))
}

fn load_id(text: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let load = id(text, "load", &mut faults);
    Ok(faults.into_result(load)?)
}

/// Every block of a load as it came.
pub async fn curves(
    service: &Haccp,
    request: Request<v1::GetLoadCurvesRequest>,
) -> Result<Response<v1::LoadCurves>, Status> {
    let load = load_id(&request.get_ref().load)?;
    let blocks = service.db.read("haccp.load_curves", |conn| {
        Box::pin(async move {
            let row = whole::row(conn, load).await?;
            row.ok_or_else(|| Failure::not_found("load"))?;
            whole::blocks(conn, load).await
        })
    });
    let curves = blocks.await?.into_iter().map(curve_out).collect();
    Ok(Response::new(v1::LoadCurves { load: load.to_string(), curves }))
}

/// Loads in the order in which they were recorded, or the newest first.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListLoadsRequest>,
) -> Result<Response<v1::ListLoadsResponse>, Status> {
    let now = Call::of(request.extensions())?.received_at;
    let request = request.into_inner();
    let mut faults = Faults::new();
    let mut lots = ids(&request.lots, "lots", &mut faults);
    let lot = optional_id(&request.lot, "lot", &mut faults);
    lots.extend(lot);
    let pulled_since = optional_instant(&request.pulled_since, "pulled_since", &mut faults);
    let begun_before = optional_instant(&request.begun_before, "begun_before", &mut faults);
    let newest_first = request.newest_first;
    let wanted = lists::Wanted { lots, pulled_since, begun_before, newest_first };
    let wanted = faults.into_result(Some(wanted)).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let size = if request.judged { page.size.min(JUDGED_MAX) } else { page.size };
    let page = Page { size, ..page };
    let asked = page.clone();
    let mut heads = service
        .db
        .read("haccp.list_loads", |conn| {
            Box::pin(async move { lists::list(conn, &wanted, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut heads, |head| head.load.id.to_string());
    let loads = match request.judged {
        true => service.loads_now(heads, now).await?,
        false => heads.iter().map(head_out).collect(),
    };
    Ok(Response::new(v1::ListLoadsResponse { loads, next_page_token }))
}
