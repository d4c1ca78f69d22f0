//! What is asked of the lot graph: what is on hand. No connection is held meanwhile.
//! It never makes anything wait for long or fail: without an answer nothing is suggested.

use std::time::Duration;

use platform::error::Failure;
use platform::hop;
use prost::Message as _;
use tonic::Request;
use wire::internal::v1 as internal;

use crate::Formulas;
use crate::judge::on_hand::Shelf;
use crate::shape::on_hand::shelf_in;

const LOTS_ON_HAND: &str = "/hankbook.internal.v1.GenealogyInternal/LotsOnHand";
/// How long a suggestion is waited for.
const PATIENCE: Duration = Duration::from_secs(2);

/// What is on hand of materials and of named lots.
pub async fn on_hand(service: &Formulas, materials: Vec<String>, lots: Vec<String>) -> Shelf {
    let question = internal::LotsOnHandRequest { materials, lots };
    asked(service, &question).await.unwrap_or(Shelf::Away)
}

async fn asked(
    service: &Formulas,
    question: &internal::LotsOnHandRequest,
) -> Result<Shelf, Failure> {
    let hop = service.house.hop_for_service(LOTS_ON_HAND)?;
    let mut waits = Request::new(());
    waits.set_timeout(PATIENCE);
    let headers = waits.metadata().clone().into_headers();
    let sent = hop::unary(hop, LOTS_ON_HAND, question.encode_to_vec().into(), headers).await;
    let (_, answer) = sent.map_err(Failure::internal)?;
    let answer = internal::LotsOnHandResponse::decode(answer).map_err(Failure::internal)?;
    shelf_in(&answer.lots, &answer.more, "lots")
}
