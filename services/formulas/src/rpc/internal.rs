//! What other services ask and tell.
//! It never answers anybody but a service.

use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::idempotency::Keyed;
use platform::records::{Stamp, new_id};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1;
use wire::v1::RefusalReason;

use super::checks::judged;
use crate::judge::cover;
use crate::shape::batches::{judge_batch_out, judged_in};
use crate::shape::covers::{Question, at_in, cover_in};
use crate::shape::one_id;
use crate::{Formulas, store};

/// Judges a batch that genealogy is about to record.
pub async fn judge_batch(
    service: &Formulas,
    request: Request<v1::JudgeBatchRequest>,
) -> Result<Response<v1::JudgeBatchResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let answer = new_id();
    let asked = request.get_ref();
    if asked.formula.is_empty() {
        let refusals = without_formula(service, &asked.products).await?;
        let answer = answer.to_string();
        return Ok(Response::new(v1::JudgeBatchResponse {
            answer,
            refusals,
            ..Default::default()
        }));
    }
    let question = judged_in(asked)?;
    let at = at_in(asked.at_us, call.received_at)?;
    let out = |batch: crate::judge::batch::Judged<'_>, _| judge_batch_out(batch, answer);
    let judged = judged(service, &question, at, out).await;
    Ok(Response::new(judged.or_else(|failure| refused(failure, answer))?))
}

/// What cannot be judged at all, as a formula that was never approved, is an answer too.
fn refused(failure: Failure, answer: Uuid) -> Result<v1::JudgeBatchResponse, Failure> {
    if failure.kind != Kind::Refused {
        return Err(failure);
    }
    let refusals = failure.reasons.into_iter().map(RefusalReason::from).collect();
    let answer = answer.to_string();
    Ok(v1::JudgeBatchResponse { answer, refusals, ..Default::default() })
}

/// A product that has a formula in force is mixed by one.
async fn without_formula(
    service: &Formulas,
    products: &[String],
) -> Result<Vec<RefusalReason>, Failure> {
    let mut products = products.to_vec();
    products.sort();
    products.dedup();
    let made = service
        .db
        .read("formulas.products_with_formula", |conn| {
            Box::pin(async move {
                let mut made = Vec::new();
                for word in products {
                    if store::formulas::label_of_product(conn, &word).await?.is_some() {
                        made.push(word);
                    }
                }
                Ok(made)
            })
        })
        .await?;
    let reason = |word: String| RefusalReason {
        code: "FORMULA_NEEDED".into(),
        message: format!("{word} has a formula in force, and no batch of it is mixed without."),
        subject: word,
        who: "operator".into(),
        way_on: "Name the formula and its version: GET /v1/formulas".into(),
    };
    Ok(made.into_iter().map(reason).collect())
}

/// Records that a kit went into a batch.
pub async fn tell_kit_used(
    service: &Formulas,
    request: Request<v1::TellKitUsedRequest>,
) -> Result<Response<v1::TellKitUsedResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of("formulas", &call, request.get_ref())?;
    let lot = one_id(&request.get_ref().lot, "lot")?;
    let batch = one_id(&request.get_ref().batch, "batch")?;
    let plant = &service.house.plant;
    let stamp = Stamp::of(&call, plant, new_id(), format!("lot:{lot}"), request.get_ref())?;
    let response = service
        .db
        .write("formulas.tell_kit_used", move |conn| {
            let (keyed, stamp) = (keyed.clone(), stamp.clone());
            Box::pin(async move {
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let was_first = store::kits::mark_used(conn, &stamp, (lot, batch)).await?;
                let response = v1::TellKitUsedResponse { was_first };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

/// What labels do not cover of what lots hold.
pub async fn label_cover(
    service: &Formulas,
    request: Request<v1::LabelCoverRequest>,
) -> Result<Response<v1::LabelCoverResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let question = cover_in(request.get_ref(), call.received_at)?;
    let labels = labels(service, &question).await?;
    let book = service.book("formulas.label_cover", question.wanted(&labels)).await?;
    let places: Vec<_> = question.labelled.iter().map(|one| one.place).collect();
    let cover = cover::read(&question.origins, &places, &book, question.at);
    let wrong = || Failure::fault("lots", "", "must hold every lot named, in no circle");
    let cover = cover.ok_or_else(wrong)?;
    let asked = question.labelled.iter().zip(labels);
    let lots = asked.map(|(one, label)| question.judge(one, label, (&cover, &book))).collect();
    Ok(Response::new(v1::LabelCoverResponse { answer: new_id().to_string(), lots }))
}

/// The label of each lot: the one that is named, else that of its product's formula in force.
async fn labels(service: &Formulas, question: &Question) -> Result<Vec<Option<Uuid>>, Failure> {
    let labelled = question.labelled.clone();
    service
        .db
        .read("formulas.labels_of_products", |conn| {
            Box::pin(async move {
                let mut labels = Vec::new();
                let unnamed = labelled.iter().filter(|one| one.label.is_none());
                let mut words: Vec<_> = unnamed.map(|one| one.product.clone()).collect();
                words.sort();
                words.dedup();
                let mut found = std::collections::HashMap::new();
                for word in words {
                    let label = store::formulas::label_of_product(conn, &word).await?;
                    found.insert(word, label);
                }
                for one in &labelled {
                    let of_product = found.get(&one.product).copied().flatten();
                    labels.push(one.label.or(of_product));
                }
                Ok(labels)
            })
        })
        .await
}
