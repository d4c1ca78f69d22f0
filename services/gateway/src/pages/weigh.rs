//! Entering a weighing: the lot, the stage, gross and tare, and the net with its shrink at once.
//! It never computes a mass: yields says what the net is and what was lost.

mod entry;
mod result;

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::visit::Visit;
use super::{layout, lots, methods};
use crate::problem::Problem;

pub use result::show as result;

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
        return Ok(Answer::see(&format!("/weigh/{}", lot.lot)));
    }
    let title = words.say("weigh");
    let body = html! {
        h1 { (title) }
        (lots::find(visit, "/weigh"))
        @if !code.is_empty() {
            p.fault role="alert" { (words.with("no-such-code", [("code", code.into())])) }
        }
        h2 { (words.say("newest-lots")) }
        (choices(&found))
    };
    let mut page = layout::page(visit, &title, body);
    page.status = if code.is_empty() { 200 } else { 404 };
    Ok(page)
}

fn choices(lots: &[v1::Lot]) -> Markup {
    html! {
        ul.choices {
            @for lot in lots {
                li { a href={ "/weigh/" (lot.lot) } {
                    strong { (lot.code) } span { (lot.material) }
                } }
            }
        }
    }
}

/// Shows the form of a lot, or records what it brings.
pub async fn enter(visit: &Visit, lot: &str) -> Result<Answer, Problem> {
    let question = v1::GetLotRequest { lot: lot.to_owned() };
    let lot = visit.ask(methods::GET_LOT, question).await?;
    match visit.asked.verb {
        Verb::Get => Ok(entry::form(visit, &lot, None)),
        Verb::Post => entry::send(visit, &lot).await,
    }
}
