//! What is asked of the lot graph: masses and what came of what. No connection is held meanwhile.
//! It never goes on without an answer.

use platform::error::{Failure, Kind};
use platform::hop;
use prost::Message;
use tonic::Status;
use uuid::Uuid;
use wire::internal::v1::{MassesOfRequest, MassesOfResponse};

use crate::Yields;
use crate::shape::graph::Around;

const MASSES_OF: &str = "/hankbook.internal.v1.GenealogyInternal/MassesOf";

/// The lots around what is asked for.
pub async fn around(service: &Yields, asked: &MassesOfRequest) -> Result<Around, Failure> {
    Around::read(ask(service, asked).await?)
}

/// The kind of a lot. A lot that nobody made is a fault of the field.
pub async fn kind_of(service: &Yields, lot: Uuid, field: &str) -> Result<String, Failure> {
    let asked =
        MassesOfRequest { lots: vec![lot.to_string()], alone: true, ..MassesOfRequest::default() };
    let answer = ask(service, &asked).await.map_err(|failure| match failure.kind {
        Kind::NotFound => Failure::fault(field, lot, "must be a lot of the plant"),
        _ => failure,
    })?;
    let found = answer.lots.into_iter().next();
    found.map(|found| found.kind).ok_or_else(|| Failure::internal("a lot without an answer"))
}

async fn ask(service: &Yields, asked: &MassesOfRequest) -> Result<MassesOfResponse, Failure> {
    let hop = service.house.hop_for_service(MASSES_OF)?;
    let body = asked.encode_to_vec().into();
    let sent = hop::unary(hop, MASSES_OF, body, Default::default()).await;
    let (_, answer) = sent.map_err(not_answered)?;
    MassesOfResponse::decode(answer).map_err(Failure::internal)
}

fn not_answered(status: Status) -> Failure {
    match Kind::of_code(status.code()) {
        Kind::NotFound => Failure::not_found("lot"),
        Kind::TooLarge => Failure::new(Kind::TooLarge, status.message()),
        _ => {
            let text = "The lots cannot be asked for now.";
            Failure::new(Kind::Unavailable, text).with_cause(status)
        }
    }
}
