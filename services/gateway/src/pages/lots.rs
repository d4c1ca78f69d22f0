//! The list of lots, and the way from a code to a lot's file.
//! It never guesses: a code that no lot has leads nowhere and says so.

use std::collections::HashMap;

use maud::{Markup, html};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use wire::v1;

use super::answer::Answer;
use super::shown::{self, lot_link, mark};
use super::visit::Visit;
use super::{layout, methods};
use crate::problem::Problem;

/// Lots of one page.
const ROWS: i32 = 50;

/// Lots asked for at once; those beyond are named by their ids.
const ASKED_MAX: usize = 1000;

/// Lots by their ids: their codes, and what else a page says of them.
#[derive(Default)]
pub struct Codes(HashMap<String, v1::Lot>);

impl Codes {
    /// Asks for lots, each once; one that cannot be read is left out.
    pub async fn ask(visit: &Visit, lots: impl Iterator<Item = &String>) -> Self {
        let mut lots: Vec<String> = lots.cloned().collect();
        lots.sort_unstable();
        lots.dedup();
        lots.truncate(ASKED_MAX);
        if lots.is_empty() {
            return Self(HashMap::new());
        }
        let page_size = i32::try_from(lots.len()).unwrap_or(ROWS);
        let question = v1::ListLotsRequest { lots, page_size, ..Default::default() };
        let found = visit.ask(methods::LIST_LOTS, question).await;
        let found = found.map(|answer| answer.lots).unwrap_or_default();
        Self(found.into_iter().map(|lot| (lot.lot.clone(), lot)).collect())
    }

    /// The code of a lot; empty where it is not known.
    pub fn of(&self, lot: &str) -> &str {
        self.lot(lot).map_or("", |lot| lot.code.as_str())
    }

    /// A lot, where it is known.
    pub fn lot(&self, lot: &str) -> Option<&v1::Lot> {
        self.0.get(lot)
    }
}

/// Shows the lots, or leads to the one of a code.
pub async fn list(visit: &Visit) -> Result<Answer, Problem> {
    let words = visit.words;
    let asked = |name| visit.asked.query.get(name);
    let (code, run, token) = (asked("code"), asked("run"), asked("from"));
    let question = v1::ListLotsRequest {
        page_size: ROWS,
        page_token: token.to_owned(),
        code: code.to_owned(),
        run: run.to_owned(),
        newest_first: true,
        ..Default::default()
    };
    let answer = visit.ask(methods::LIST_LOTS, question).await?;
    if let ([lot], false) = (answer.lots.as_slice(), code.is_empty()) {
        return Ok(Answer::see(&format!("/lots/{}", lot.lot)));
    }
    let title = words.say("lots");
    let body = html! {
        h1 { (title) }
        (find(visit, "/lots"))
        @if !run.is_empty() {
            p { (words.with("lots-of-run", [("run", run.into())])) " "
                a href="/lots" { (words.say("all-lots")) } }
        }
        @if !code.is_empty() {
            p.fault role="alert" { (words.with("no-such-code", [("code", code.into())])) }
        } @else if answer.lots.is_empty() {
            p { (words.say("no-lots")) }
        } @else {
            (table(visit, &answer.lots))
            (further(visit, (run, token), &answer.next_page_token))
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = if code.is_empty() { 200 } else { 404 };
    Ok(page)
}

/// The field in which a lot's code is typed or scanned.
pub fn find(visit: &Visit, path: &str) -> Markup {
    let words = visit.words;
    html! {
        form.find method="get" action=(path) role="search" {
            label for="code" { (words.say("find-lot")) }
            input id="code" name="code" autocomplete="off" autocapitalize="characters"
                spellcheck="false" maxlength="40" value=(visit.asked.query.get("code"));
            button type="submit" { (words.say("find")) }
        }
    }
}

fn further(visit: &Visit, (run, token): (&str, &str), next: &str) -> Markup {
    let words = visit.words;
    html! {
        p.ways {
            @if !token.is_empty() {
                a.button href=(of_run(run, "")) { (words.say("newest")) } " "
            }
            @if !next.is_empty() {
                a.button href=(of_run(run, next)) { (words.say("older")) }
            }
        }
    }
}

/// The list of the batches of a run, or of all lots without one, from a page on.
pub fn of_run(run: &str, from: &str) -> String {
    let parts = [("run", run), ("from", from)];
    let parts = parts.iter().filter(|(_, value)| !value.is_empty());
    let parts: Vec<String> = parts
        .map(|(name, value)| format!("{name}={}", utf8_percent_encode(value, NON_ALPHANUMERIC)))
        .collect();
    if parts.is_empty() { "/lots".to_owned() } else { format!("/lots?{}", parts.join("&")) }
}

/// Lots as a table, each leading to its file.
pub fn table(visit: &Visit, lots: &[v1::Lot]) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("lots")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("lot")) }
                    th scope="col" { (words.say("what-it-is")) }
                    th scope="col" { (words.say("kind")) }
                    th scope="col" { (words.say("since")) }
                    th scope="col" { (words.say("place")) }
                    th.number scope="col" { (words.say("on-hand")) }
                    th scope="col" { (words.say("state")) }
                } }
                tbody {
                    @for lot in lots {
                        tr {
                            th scope="row" { (lot_link(&lot.lot, &lot.code)) }
                            td { (lot.material) }
                            td { (words.one_of("lot-kind", &lot.kind)) }
                            td { (shown::instant(visit, &lot.observed_at)) }
                            td { (lot.stands_at_name) }
                            td.number { (shown::grams(visit, lot.on_hand_g.as_deref())) }
                            td { (state(visit, lot)) }
                        }
                    }
                }
            }
        }
    }
}

fn state(visit: &Visit, lot: &v1::Lot) -> Markup {
    if lot.holds.is_empty() { mark(visit, "no-hold") } else { mark(visit, "on-hold") }
}
