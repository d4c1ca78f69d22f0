//! Foreign material: found by anybody, answered by QA with a signature.
//! It never takes a second answer.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::Haccp;
use crate::shape::foreign_material::{answer_in, found_in, found_out};
use crate::store::foreign_material::{ANSWER, FOUND, FoundRow, find};
use crate::store::rows::{self, Record};
use crate::store::safety;

/// Records what was found.
pub async fn record(
    service: &Haccp,
    request: Request<v1::RecordForeignMaterialRequest>,
) -> Result<Response<v1::ForeignMaterial>, Status> {
    let call = Call::of(request.extensions())?;
    let new = found_in(&call, &service.house.plant, request.get_ref())?;
    let (columns, entry) = new.record();
    let record = Record {
        table: FOUND,
        form: "haccp.foreign_material/1",
        stamp: new.stamp.clone(),
        moments: Some(new.moments),
        columns,
        entry,
    };
    let work = Arc::new((new, record));
    let outbox = service.outbox.clone();
    let row = service
        .db
        .write("haccp.record_foreign_material", move |conn| {
            let (work, outbox) = (work.clone(), outbox.clone());
            Box::pin(async move {
                let (new, record) = &*work;
                if !rows::known(conn, FOUND, &new.stamp).await? {
                    rows::insert(conn, record).await?;
                    safety::tell(conn, &outbox, &new.less_safe()).await?;
                }
                find(conn, new.stamp.id).await
            })
        })
        .await
        .map_err(|failure| match failure.names_constraint("foreign_material_lot_fkey") {
            true => Failure::fault("lot", "", "must be a lot of the plant"),
            false => failure,
        })?;
    service.outbox.wake();
    shown(row)
}

/// QA's answer, signed.
pub async fn answer(
    service: &Haccp,
    request: Request<v1::AnswerForeignMaterialRequest>,
) -> Result<Response<v1::ForeignMaterial>, Status> {
    let call = Call::of(request.extensions())?;
    let new = answer_in(&call, &service.house.plant, request.get_ref())?;
    let tickets = service.house.tickets.clone();
    let work = Arc::new((call, new));
    let row = service
        .db
        .write("haccp.answer_foreign_material", move |conn| {
            let (work, tickets) = (work.clone(), tickets.clone());
            Box::pin(async move {
                let (call, new) = &*work;
                if rows::known(conn, ANSWER, &new.stamp).await? {
                    return find(conn, new.foreign_material).await;
                }
                let found = find(conn, new.foreign_material).await?;
                let found = found.ok_or_else(|| Failure::not_found("foreign material"))?;
                if found.answered_at.is_some() {
                    return Err(answered(new.foreign_material));
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                let (columns, entry) = new.record(&ticket);
                let record = Record {
                    table: ANSWER,
                    form: "haccp.foreign_material_answer/1",
                    stamp: new.stamp.clone(),
                    moments: None,
                    columns,
                    entry,
                };
                rows::insert(conn, &record).await?;
                find(conn, new.foreign_material).await
            })
        })
        .await?;
    shown(row)
}

fn shown(row: Option<FoundRow>) -> Result<Response<v1::ForeignMaterial>, Status> {
    let row = row.ok_or_else(|| Failure::not_found("foreign material"))?;
    Ok(Response::new(found_out(row)))
}

fn answered(id: Uuid) -> Failure {
    Failure::refused(vec![Reason {
        code: "FOREIGN_MATERIAL_ANSWERED",
        subject: format!("foreign_material:{id}"),
        message: "It has been answered before.".into(),
        who: "QA".into(),
        way_on: "What the answer left open goes on hold: POST /v1/holds.".into(),
    }])
}
