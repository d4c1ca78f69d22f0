//! Moves of lots and pallets within the plant.
//! It never refuses a move because of a hold: the hold goes along.

use std::sync::Arc;

use platform::caller::Call;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::making::moves::{NewTransfer, transfer_in, transfer_out};
use crate::store::making::transfers::{self, Transferred};
use crate::{Genealogy, store};

/// Records a transfer.
pub async fn record(
    service: &Genealogy,
    request: Request<v1::RecordTransferRequest>,
) -> Result<Response<v1::Transfer>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = transfer_in(&call, &service.house.plant, request.get_ref())?;
    let (stamp, place) = (asked.stamp.clone(), asked.place);
    let (known, place) = service
        .db
        .read("genealogy.before_transfer", |conn| {
            Box::pin(async move {
                let known = transfers::known(conn, &stamp).await?;
                Ok((known, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some(known) = known {
        return Ok(Response::new(out(known)));
    }
    let (stamp, moved, place) = asked.at(place)?;
    let new = Arc::new(NewTransfer { stamp, place, moved });
    let moved = service
        .db
        .write("genealogy.record_transfer", move |conn| {
            let new = new.clone();
            Box::pin(async move { transfers::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(out(moved)))
}

fn out(moved: Transferred) -> v1::Transfer {
    let Transferred { row, lots, pallets, holds } = moved;
    transfer_out(row, (&lots, &pallets), &holds)
}
