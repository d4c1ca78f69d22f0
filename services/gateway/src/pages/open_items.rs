//! What somebody must look at: the checks of a production day, and what facts have broken.
//! It never calls a list empty that it could not read.

use futures_util::join;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::lots::Codes;
use super::sentence::told;
use super::shown::{self, lot_link, mark};
use super::visit::{Visit, Whole, is_signed_out};
use super::{layout, methods};
use crate::problem::Problem;

/// Shows them.
pub async fn show(visit: &Visit) -> Result<Answer, Problem> {
    let today = visit.pages.gateway.plant.day_of(visit.pages.gateway.keeper.clock.now());
    let day = match visit.asked.query.get("day") {
        "" => today.to_string(),
        day => day.to_owned(),
    };
    let (checks, facts) = join!(of_day(visit, &day), of_facts(visit));
    for problem in [checks.as_ref().err(), facts.as_ref().err()] {
        if let Some(problem) = problem.filter(|problem| is_signed_out(problem)) {
            return Err(problem.clone());
        }
    }
    let of_checks = checks.iter().flat_map(|found| &found.rows).map(|item| &item.lot);
    let of_checks = of_checks.filter(|lot| !lot.is_empty());
    let of_facts = facts.iter().flat_map(|found| &found.rows).flat_map(|item| &item.lots);
    let codes = Codes::ask(visit, of_checks.chain(of_facts)).await;
    let words = visit.words;
    let title = words.say("open-items");
    let body = html! {
        h1 { (title) }
        form.find method="get" action="/open-items" {
            label for="day" { (words.say("production-day")) }
            input id="day" name="day" type="date" required value=(day);
            button type="submit" { (words.say("show-day")) }
        }
        section aria-labelledby="checks" {
            h2 id="checks" { (words.with("checks-of-day", [("day", day.as_str().into())])) }
            (checks_shown(visit, &checks, &codes))
        }
        section aria-labelledby="facts" {
            h2 id="facts" { (words.say("file-items")) }
            (facts_shown(visit, &facts, &codes))
        }
    };
    Ok(layout::page(visit, &title, body))
}

async fn of_day(visit: &Visit, day: &str) -> Result<Whole<v1::OpenItem>, Problem> {
    let page = |page_size, page_token| async move {
        let question = v1::ListOpenItemsRequest { day: day.to_owned(), page_size, page_token };
        let answer = visit.ask(methods::LIST_OPEN_ITEMS, question).await?;
        Ok((answer.items, answer.next_page_token))
    };
    visit.whole(page).await
}

async fn of_facts(visit: &Visit) -> Result<Whole<v1::LotItem>, Problem> {
    let page = |page_size, page_token| async move {
        let question = v1::ListLotItemsRequest { answered: false, page_size, page_token };
        let answer = visit.ask(methods::LIST_LOT_ITEMS, question).await?;
        Ok((answer.items, answer.next_page_token))
    };
    visit.whole(page).await
}

fn checks_shown(
    visit: &Visit,
    found: &Result<Whole<v1::OpenItem>, Problem>,
    codes: &Codes,
) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("open-items"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-open-items")) } },
        Ok(found) => html! {
            div.scroll tabindex="0" role="group" aria-label=(words.say("open-items")) {
                table {
                    thead { tr {
                        th scope="col" { (words.say("state")) }
                        th scope="col" { (words.say("check")) }
                        th scope="col" { (words.say("lot")) }
                        th scope="col" { (words.say("found")) }
                        th scope="col" { (words.say("reason-who")) }
                    } }
                    tbody { @for item in &found.rows { (check_row(visit, item, codes)) } }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}

fn check_row(visit: &Visit, item: &v1::OpenItem, codes: &Codes) -> Markup {
    let words = visit.words;
    html! {
        tr {
            td { (mark(visit, &item.code.replace('_', "-")))
                @if item.gates { div { (words.say("stops-shipping")) } } }
            th scope="row" { (shown::check(&item.check, &item.title)) }
            td { @if !item.lot.is_empty() { (lot_link(&item.lot, codes.of(&item.lot))) } }
            td lang="en" { (told(visit, &item.what)) }
            td { (item.who) }
        }
    }
}

fn facts_shown(
    visit: &Visit,
    found: &Result<Whole<v1::LotItem>, Problem>,
    codes: &Codes,
) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("file-items"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-broken-facts")) } },
        Ok(found) => html! {
            ul.items {
                @for item in &found.rows {
                    li {
                        (mark(visit, "open")) " " span lang="en" { (told(visit, &item.what)) } " "
                        (shown::instant(visit, &item.recorded_at)) " · " (item.entered_by_name) " "
                        (shown::lot_links(&item.lots, codes))
                    }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}
