//! Entering a reading: the lot, the check, the values, and the verdict at once.
//! It never judges: the limit stands beside the field, and haccp says what was found.

mod amend;
mod entry;
mod result;

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::keypad::State;
use super::visit::Visit;
use super::{layout, lots, methods, shown};
use crate::problem::Problem;

pub use result::answer as result;

/// Newest lots offered.
const NEWEST: i32 = 8;

/// Shows the lots to choose from, or leads to the one of a code.
pub async fn choose_lot(visit: &Visit) -> Result<Answer, Problem> {
    let (words, code) = (visit.words, visit.asked.query.get("code"));
    let question = v1::ListLotsRequest {
        page_size: NEWEST,
        newest_first: true,
        code: code.to_owned(),
        ..Default::default()
    };
    let found = visit.ask(methods::LIST_LOTS, question).await?.lots;
    if let ([lot], false) = (found.as_slice(), code.is_empty()) {
        return Ok(Answer::see(&format!("/reading/{}", lot.lot)));
    }
    let title = words.say("enter-reading");
    let body = html! {
        h1 { (title) }
        (lots::find(visit, "/reading"))
        @if !code.is_empty() {
            p.fault role="alert" { (words.with("no-such-code", [("code", code.into())])) }
        }
        h2 { (words.say("newest-lots")) }
        ul.choices {
            @for lot in &found {
                li { a href={ "/reading/" (lot.lot) } {
                    strong { (lot.code) } span { (lot.material) }
                } }
            }
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = if code.is_empty() { 200 } else { 404 };
    Ok(page)
}

/// A lot with the plan in force of the one that it is bound to.
pub struct Bound {
    pub lot: v1::Lot,
    pub plan: v1::Plan,
}

impl Bound {
    async fn read(visit: &Visit, lot: &str) -> Result<Self, Problem> {
        let question = v1::GetLotRequest { lot: lot.to_owned() };
        let lot = visit.ask(methods::GET_LOT, question).await?;
        let question = v1::GetPlanRequest { plan: lot.plan.clone() };
        let plan = visit.ask(methods::GET_PLAN, question).await?;
        Ok(Self { lot, plan })
    }

    /// True when the words of the plan are those of the version that the lot is bound to.
    pub fn is_same_version(&self) -> bool {
        self.plan.version == self.lot.plan_version
    }

    /// The checks on which readings are taken: challenges and curves have ways of their own.
    fn checks(&self) -> impl Iterator<Item = &v1::PlanCheck> {
        let checks = self.plan.content.iter().flat_map(|content| &content.checks);
        checks.filter(|check| {
            let is_by_limit = ["", "limit"].contains(&check.judged_by.as_str());
            check.kind != "bracket" && is_by_limit
        })
    }
}

/// Shows the checks of a lot to choose from.
pub async fn choose_check(visit: &Visit, lot: &str) -> Result<Answer, Problem> {
    let bound = Bound::read(visit, lot).await?;
    let words = visit.words;
    let title = words.with("reading-of", [("code", bound.lot.code.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (bound.lot.material) }
        h2 { (words.say("which-check")) }
        ul.choices {
            @for check in bound.checks() {
                li { a href={ "/reading/" (bound.lot.lot) "/" (check.code) } {
                    strong { (check.code) } span { (check.title) } (limit(visit, check))
                } }
            }
        }
        @if bound.checks().next().is_none() { p { (words.say("no-check-to-read")) } }
    };
    Ok(layout::page(visit, &title, body))
}

/// What a check asks, in words.
fn limit(visit: &Visit, check: &v1::PlanCheck) -> Markup {
    let words = visit.words;
    let valued = |value: &str| shown::valued(value, &check.unit);
    html! {
        @if let Some(value) = &check.at_least {
            span { (words.with("at-least", [("value", valued(value).into())])) } " "
        }
        @if let Some(value) = &check.at_most {
            span { (words.with("at-most", [("value", valued(value).into())])) }
        }
    }
}

/// Shows the form of a check, or records what it brings.
pub async fn enter(visit: &Visit, lot: &str, check: &str) -> Result<Answer, Problem> {
    let bound = Bound::read(visit, lot).await?;
    let found = bound.checks().find(|found| found.code == check).cloned();
    let nowhere = || Problem::new(platform::error::Kind::NotFound, "");
    let check = found.ok_or_else(nowhere)?;
    match visit.asked.verb {
        Verb::Get => Ok(entry::form(visit, &bound, &check, State::Fresh).await),
        Verb::Post => entry::send(visit, &bound, &check).await,
    }
}
