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
                        th scope="col" { (words.say("lots")) }
                        th scope="col" { (words.say("found")) }
                        th scope="col" { (words.say("reason-who")) }
                    } }
                    tbody { @for items in alike(&found.rows) { (check_row(visit, &items, codes)) } }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}

/// The word of an item's mark. A lot that is still being made is short of records as every lot is:
/// nothing of it has gone amiss.
pub fn word(code: &str) -> String {
    match code {
        "missing" => "no-record".to_owned(),
        code => code.replace('_', "-"),
    }
}

/// What is pressing stands first, and what is only still to do last.
const ORDER: [&str; 9] = [
    "foreign_material",
    "deviation",
    "failed",
    "undetermined",
    "missed",
    "clock_off",
    "late",
    "not_yet",
    "missing",
];

/// Items that say the same of several lots, together, the most pressing first.
fn alike(items: &[v1::OpenItem]) -> Vec<Vec<&v1::OpenItem>> {
    let said = |item: &v1::OpenItem| v1::OpenItem { lot: String::new(), ..item.clone() };
    let mut groups = shown::alike(items, said);
    groups.sort_by_key(|group| ORDER.iter().position(|code| *code == group[0].code));
    groups
}

fn check_row(visit: &Visit, items: &[&v1::OpenItem], codes: &Codes) -> Markup {
    let (words, item) = (visit.words, items[0]);
    html! {
        tr {
            td { (mark(visit, &word(&item.code)))
                @if item.gates { div { (words.say("stops-shipping")) } } }
            th scope="row" { (shown::check(&item.check, &item.title)) }
            td.lots { @for item in items.iter().filter(|item| !item.lot.is_empty()) {
                (lot_link(&item.lot, codes.of(&item.lot))) " "
            } }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn item(code: &str, lot: &str, what: &str) -> v1::OpenItem {
        v1::OpenItem {
            code: code.to_owned(),
            lot: lot.to_owned(),
            what: what.to_owned(),
            ..v1::OpenItem::default()
        }
    }

    #[test]
    fn the_same_of_several_lots_is_said_once_and_what_presses_first() {
        let items = [
            item("missing", "a", "There is no record of it."),
            item("failed", "a", "Not met."),
            item("missing", "b", "There is no record of it."),
            item("a code of tomorrow", "c", ""),
            item("missing", "c", "It is another thing."),
        ];
        let found = alike(&items);
        let found: Vec<Vec<_>> = found
            .iter()
            .map(|group| group.iter().map(|item| item.lot.as_str()).collect())
            .collect();
        assert_eq!(found, [vec!["c"], vec!["a"], vec!["a", "b"], vec!["c"]]);
    }
}
