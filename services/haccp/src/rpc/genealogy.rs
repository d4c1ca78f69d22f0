//! What is asked of the lot graph: a place, a closure. No connection is held meanwhile.
//! It never goes on without an answer.

use platform::error::{Failure, Kind};
use platform::hop;
use prost::Message;
use tonic::Status;
use uuid::Uuid;
use wire::internal::v1::{
    ClosureOfRequest, ClosureOfResponse, ClosuresOfRequest, ClosuresOfResponse, FindPlaceRequest,
    FindPlaceResponse,
};

use crate::Haccp;

const FIND_PLACE: &str = "/hankbook.internal.v1.GenealogyInternal/FindPlace";
const CLOSURE_OF: &str = "/hankbook.internal.v1.GenealogyInternal/ClosureOf";
const CLOSURES_OF: &str = "/hankbook.internal.v1.GenealogyInternal/ClosuresOf";

/// The name of a place of the plant. A place that nobody made is a fault of the field.
pub async fn place_name(service: &Haccp, place: Uuid, field: &str) -> Result<String, Failure> {
    let answer = find_place(service, place).await?;
    match answer.name.is_empty() {
        true => Err(Failure::fault(field, place, "must be a place of the plant")),
        false => Ok(answer.name),
    }
}

/// A place of the plant; without a name when nobody made it.
pub async fn find_place(service: &Haccp, place: Uuid) -> Result<FindPlaceResponse, Failure> {
    ask(service, FIND_PLACE, &FindPlaceRequest { place: place.to_string() }).await
}

/// The closures of lots, with the cases of those that have any.
pub async fn closure_of(service: &Haccp, lots: &[Uuid]) -> Result<ClosureOfResponse, Failure> {
    let lots = lots.iter().map(Uuid::to_string).collect();
    ask(service, CLOSURE_OF, &ClosureOfRequest { lots }).await
}

/// The closures of several lots, each as if that lot alone were asked about, in the order given.
pub async fn closures_of(
    service: &Haccp,
    lots: &[Uuid],
) -> Result<Vec<ClosureOfResponse>, Failure> {
    let asked = ClosuresOfRequest { lots: lots.iter().map(Uuid::to_string).collect() };
    let answer: ClosuresOfResponse = ask(service, CLOSURES_OF, &asked).await?;
    match answer.closures.len() == lots.len() && answer.closures.iter().all(is_of_one) {
        true => Ok(answer.closures),
        false => Err(Failure::internal("closures of other lots than were asked for")),
    }
}

fn is_of_one(closure: &ClosureOfResponse) -> bool {
    closure.ships.len() == 1
}

async fn ask<A: Message + Default>(
    service: &Haccp,
    path: &'static str,
    asked: &impl Message,
) -> Result<A, Failure> {
    let hop = service.house.hop_for_service(path)?;
    let sent = hop::unary(hop, path, asked.encode_to_vec().into(), Default::default()).await;
    let (_, answer) = sent.map_err(not_answered)?;
    A::decode(answer).map_err(Failure::internal)
}

fn not_answered(status: Status) -> Failure {
    // What it does not know, we do not know either; anything else is no answer.
    match Kind::of_code(status.code()) {
        Kind::NotFound => Failure::not_found("lot"),
        _ => {
            let text = "The lots cannot be asked for now; nothing was stored.";
            Failure::new(Kind::Unavailable, text).with_cause(status)
        }
    }
}
