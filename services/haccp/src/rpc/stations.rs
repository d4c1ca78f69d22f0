//! Stations that watch places: heard, or looked at by somebody who signs.
//! It never takes silence for an empty queue.

use std::sync::Arc;

use platform::caller::Call;
use tonic::{Request, Response, Status};
use wire::v1;

use super::genealogy;
use crate::Haccp;
use crate::shape::stations::{self as shape, binding_in, heard_in, look_in};
use crate::store::rows::{self, Record};
use crate::store::safety;
use crate::store::stations::{self as store, BINDING, HEARD, LOOK};

/// Says which place a station watches.
pub async fn bind(
    service: &Haccp,
    request: Request<v1::BindStationRequest>,
) -> Result<Response<v1::StationPlace>, Status> {
    let call = Call::of(request.extensions())?;
    let mut new = binding_in(&call, &service.house.plant, request.get_ref())?;
    new.place_name = genealogy::place_name(service, new.place, "place").await?;
    let (columns, entry) = new.record();
    let record = Record {
        table: BINDING,
        form: "haccp.station_place/1",
        stamp: new.stamp.clone(),
        moments: None,
        columns,
        entry,
    };
    let work = Arc::new((new, record));
    let row = service
        .db
        .write("haccp.bind_station", move |conn| {
            let work = work.clone();
            Box::pin(async move {
                let (new, record) = &*work;
                if !rows::known(conn, BINDING, &new.stamp).await? {
                    if new.is_bound {
                        // What was there may be clear no more; it names no lots.
                        safety::raise(conn, &[]).await?;
                    }
                    rows::insert(conn, record).await?;
                }
                store::binding(conn, new.stamp.id).await
            })
        })
        .await?;
    Ok(Response::new(shape::binding_out(row)))
}

/// A station tells what it still has to send.
pub async fn hear(
    service: &Haccp,
    request: Request<v1::HearStationRequest>,
) -> Result<Response<v1::StationHeard>, Status> {
    let call = Call::of(request.extensions())?;
    let new = heard_in(&call, &service.house.plant, request.get_ref())?;
    let (columns, entry) = new.record();
    let record = Arc::new(Record {
        table: HEARD,
        form: "haccp.station_heard/1",
        stamp: new.stamp.clone(),
        moments: None,
        columns,
        entry,
    });
    let row = service
        .db
        .write("haccp.hear_station", move |conn| {
            let record = record.clone();
            Box::pin(async move {
                if !rows::known(conn, HEARD, &record.stamp).await? {
                    rows::insert(conn, &record).await?;
                }
                store::heard(conn, record.stamp.id).await
            })
        })
        .await?;
    Ok(Response::new(shape::heard_out(row)))
}

/// Signs that a silent station was looked at.
pub async fn look(
    service: &Haccp,
    request: Request<v1::LookAtStationRequest>,
) -> Result<Response<v1::StationLook>, Status> {
    let call = Call::of(request.extensions())?;
    let new = look_in(&call, &service.house.plant, request.get_ref())?;
    let tickets = service.house.tickets.clone();
    let work = Arc::new((call, new));
    let row = service
        .db
        .write("haccp.look_at_station", move |conn| {
            let (work, tickets) = (work.clone(), tickets.clone());
            Box::pin(async move {
                let (call, new) = &*work;
                if !rows::known(conn, LOOK, &new.stamp).await? {
                    let ticket = tickets.redeem(call, &new.stamp.subject)?;
                    let (columns, entry) = new.record(&ticket);
                    let record = Record {
                        table: LOOK,
                        form: "haccp.station_look/1",
                        stamp: new.stamp.clone(),
                        moments: None,
                        columns,
                        entry,
                    };
                    rows::insert(conn, &record).await?;
                }
                store::look(conn, new.stamp.id).await
            })
        })
        .await?;
    Ok(Response::new(shape::look_out(row)))
}
