//! What formulas is asked before a batch is mixed, before cases are packed, and at the dock.
//! It never takes silence for consent, and holds no connection while it asks.

use jiff::civil::Date;
use platform::error::{Failure, Kind};
use platform::hop;
use prost::Message;
use wire::internal::v1 as internal;

use crate::shape::making::batch::{Judged, LABEL_NOT_COVERING, Told, with_on_hand};
use crate::shape::on_hand::Wanted;
use crate::{Genealogy, store};

/// What formulas is asked before a batch is mixed.
const JUDGE_BATCH: &str = "/hankbook.internal.v1.FormulasInternal/JudgeBatch";
/// What formulas is asked of labels.
const LABEL_COVER: &str = "/hankbook.internal.v1.FormulasInternal/LabelCover";
/// What formulas is told of a kit that went into a batch.
pub const TELL_KIT_USED: &str = "/hankbook.internal.v1.FormulasInternal/TellKitUsed";

/// Asks about a batch; no answer is no batch. Where it is refused and another lot would be a way
/// on, formulas is asked once more with what is on hand on that date, so that it can name lots: it
/// asks nobody itself. Nothing is looked for where the batch has been made.
pub async fn judge(
    service: &Genealogy,
    mut question: internal::JudgeBatchRequest,
    on: Option<Date>,
) -> Result<Judged, Failure> {
    let mut told: internal::JudgeBatchResponse = asked(service, JUDGE_BATCH, &question).await?;
    let on = on.filter(|_| !told.refusals.is_empty() && !told.other_lots_of.is_empty());
    if let Some(on) = on {
        let wanted = Wanted { materials: told.other_lots_of, lots: Vec::new(), on };
        let found = service
            .db
            .read("genealogy.other_lots", |conn| {
                Box::pin(async move { store::on_hand::find(conn, &wanted).await })
            })
            .await?;
        question = with_on_hand(question, found);
        told = asked(service, JUDGE_BATCH, &question).await?;
    }
    Judged::of(question, told)
}

/// Asks about labels; gives the reasons of all lots that are asked for.
pub async fn uncovered(
    service: &Genealogy,
    question: &internal::LabelCoverRequest,
) -> Result<Vec<Told>, Failure> {
    let cover = cover(service, question).await?;
    if cover.lots.len() != question.labelled.len() {
        return Err(Failure::internal("a label was not answered for"));
    }
    let reasons = cover.lots.into_iter().flat_map(|lot| lot.reasons);
    Ok(reasons.map(|reason| Told { reason, item: LABEL_NOT_COVERING }).collect())
}

/// The answer about labels as it came.
pub async fn cover(
    service: &Genealogy,
    question: &internal::LabelCoverRequest,
) -> Result<internal::LabelCoverResponse, Failure> {
    asked(service, LABEL_COVER, question).await
}

/// One question. A refusal, as of a formula that was never approved, is passed on as it came.
async fn asked<T: Message + Default>(
    service: &Genealogy,
    path: &'static str,
    question: &impl Message,
) -> Result<T, Failure> {
    let hop = service.house.hop_for_service(path)?;
    let sent = hop::unary(hop, path, question.encode_to_vec().into(), Default::default()).await;
    let (_, answer) = sent.map_err(|status| {
        let text = "Formulas cannot be asked for now; nothing was stored.";
        Failure::new(Kind::Unavailable, text).with_cause(status)
    })?;
    T::decode(answer).map_err(Failure::internal)
}
