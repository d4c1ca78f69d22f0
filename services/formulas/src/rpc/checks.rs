//! The judgement of a batch before the tip, for people and for genealogy.
//! It never stores anything.

use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::book::{Book, Recipe};
use crate::judge::batch::judge;
use crate::shape::batches::{Question, check_batch_out, question_in};
use crate::store::kits::Kit;
use crate::{Formulas, shape, store};

/// Judges a batch.
pub async fn check(
    service: &Formulas,
    request: Request<v1::CheckBatchRequest>,
) -> Result<Response<v1::BatchCheck>, Status> {
    let call = Call::of(request.extensions())?;
    let question = question_in(request.get_ref())?;
    let at = call.received_at;
    Ok(Response::new(judged(service, &question, at, check_batch_out).await?))
}

/// Reads what a question needs, judges it and gives the answer that `out` makes of it.
pub async fn judged<T>(
    service: &Formulas,
    question: &Question,
    at: Timestamp,
    out: impl FnOnce(crate::judge::batch::Judged<'_>, Timestamp) -> T,
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
