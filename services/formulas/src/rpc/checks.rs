//! The judgement of a batch before the tip, for people and for genealogy.
//! It never stores anything.

use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use wire::v1;

use super::genealogy;
use crate::book::{Book, Recipe};
use crate::judge::batch::{Judged, judge};
use crate::judge::on_hand::Shelf;
use crate::shape::batches::{Question, check_batch_out, question_in};
use crate::shape::on_hand::{AWAY, other_lots_of};
use crate::store::kits::Kit;
use crate::{Formulas, shape, store};

/// Judges a batch. Only where another lot is a way on is genealogy asked what is on hand, and the
/// batch judged again with each of those lots.
pub async fn check(
    service: &Formulas,
    request: Request<v1::CheckBatchRequest>,
) -> Result<Response<v1::BatchCheck>, Status> {
    let call = Call::of(request.extensions())?;
    let mut question = question_in(request.get_ref())?;
    let at = call.received_at;
    let out = |judged: Judged<'_>, at| (other_lots_of(&judged), check_batch_out(judged, at));
    let (materials, check) = judged(service, &question, at, out).await?;
    if materials.is_empty() {
        return Ok(Response::new(check));
    }
    question.shelf = genealogy::on_hand(service, materials, Vec::new()).await;
    let away = matches!(question.shelf, Shelf::Away).then_some(AWAY).unwrap_or_default();
    let check = judged(service, &question, at, check_batch_out).await?;
    Ok(Response::new(v1::BatchCheck { no_lots_because: away.to_owned(), ..check }))
}

/// Reads what a question needs, judges it and gives the answer that `out` makes of it.
pub async fn judged<T>(
    service: &Formulas,
    question: &Question,
    at: Timestamp,
    out: impl FnOnce(Judged<'_>, Timestamp) -> T,
) -> Result<T, Failure> {
    let (recipe, book, kits) = known(service, question).await?;
    let asked = question.asked((&recipe, &book), &kits, at)?;
    Ok(out(judge(&asked), at))
}

async fn known(
    service: &Formulas,
    question: &Question,
) -> Result<(Recipe, Book, Vec<Kit>), Failure> {
    let question = question.clone();
    service
        .db
        .read("formulas.check_batch", |conn| {
            Box::pin(async move {
                let formula = store::formulas::version(conn, question.formula).await?;
                let formula = formula.ok_or_else(|| not_approved(&question))?;
                let recipe = shape::drafts::recipe(&formula.content)?;
                let kits = store::kits::of_lots(conn, &question.kit_lots()).await?;
                let wanted = question.wanted(&recipe, &kits)?;
                let rows = store::book::read(conn, &wanted).await?;
                Ok((recipe, shape::book::book(rows)?, kits))
            })
        })
        .await
}

fn not_approved(question: &Question) -> Failure {
    let (formula, version) = question.formula;
    Failure::refused(vec![Reason {
        code: "FORMULA_NOT_APPROVED",
        subject: format!("formula {formula} version {version}"),
        message: "No such version was ever approved.".into(),
        who: "QA".into(),
        way_on: "Read the formula and name the version in force.".into(),
    }])
}
