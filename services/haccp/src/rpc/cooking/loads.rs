//! Loads: started once genealogy has said which house and which racks, then read with verdicts.
//! It never asks genealogy while a connection is held.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::hop;
use platform::pages::Page;
use platform::shape::{id, optional_id};
use prost::Message;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::{
    ClosureOfRequest, ClosureOfResponse, FindPlaceRequest, FindPlaceResponse,
};
use wire::v1;

use crate::Haccp;
use crate::shape::cooking::out::{curve_out, head_out};
use crate::shape::cooking::{NewLoad, load_in};
use crate::store::cooking::{block, lists, whole, written};
use crate::store::rows;

/// What genealogy is asked of the house.
const FIND_PLACE: &str = "/hankbook.internal.v1.GenealogyInternal/FindPlace";
/// What genealogy is asked of the racks.
const CLOSURE_OF: &str = "/hankbook.internal.v1.GenealogyInternal/ClosureOf";

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
    let place = FindPlaceRequest { place: new.house.to_string() };
    let place: FindPlaceResponse = ask(service, FIND_PLACE, &place).await?;
    let new = new.with_house(place)?;
    let lots = new.racks.iter().map(|(rack, _)| rack.to_string()).collect();
    let closure: ClosureOfResponse = ask(service, CLOSURE_OF, &ClosureOfRequest { lots }).await?;
    new.with_racks(closure)
}

async fn ask<M: Message, A: Message + Default>(
    service: &Haccp,
    method: &'static str,
    message: &M,
) -> Result<A, Failure> {
    let hop = service.house.hop_for_service(method)?;
    let sent = hop::unary(hop, method, message.encode_to_vec().into(), Default::default()).await;
    match sent {
        Ok((_, answer)) => A::decode(answer).map_err(Failure::internal),
        // A lot that nobody has made: none of the racks is known.
        Err(status) if status.code() == tonic::Code::NotFound => Ok(A::default()),
        Err(status) => {
            let text = "Genealogy cannot be asked for now; nothing was stored.";
            Err(Failure::new(Kind::Unavailable, text).with_cause(status))
        }
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
    service.load_head(load).await?;
    let blocks =
        service.db.read("haccp.load_curves", |conn| Box::pin(whole::blocks(conn, load))).await?;
    let curves = blocks.into_iter().map(curve_out).collect();
    Ok(Response::new(v1::LoadCurves { load: load.to_string(), curves }))
}

/// Loads in the order in which they were recorded.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListLoadsRequest>,
) -> Result<Response<v1::ListLoadsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let lot = optional_id(&request.lot, "lot", &mut faults);
    let lot = faults.into_result(Some(lot)).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut heads = service
        .db
        .read("haccp.list_loads", |conn| {
            Box::pin(async move { lists::list(conn, lot, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut heads, |head| head.load.id.to_string());
    let loads = heads.iter().map(head_out).collect();
    Ok(Response::new(v1::ListLoadsResponse { loads, next_page_token }))
}
