//! The plant's page: what somebody must look at now, and the newest lots.
//! It never says that nothing is to be done when a part could not be asked.

use futures_util::join;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::lots::Codes;
use super::shown;
use super::visit::{Visit, Whole, is_signed_out};
use super::{deviations, holds, layout, lots, methods};
use crate::problem::Problem;

/// Newest lots shown.
const NEWEST: i32 = 10;

/// Shows the page.
pub async fn show(visit: &Visit) -> Result<Answer, Problem> {
    let question =
        v1::ListLotsRequest { page_size: NEWEST, newest_first: true, ..Default::default() };
    let (open, standing, newest) = join!(
        deviations::read(visit, true),
        holds::standing(visit),
        visit.ask(methods::LIST_LOTS, question),
    );
    for problem in [open.as_ref().err(), standing.as_ref().err(), newest.as_ref().err()] {
        if let Some(problem) = problem.filter(|problem| is_signed_out(problem)) {
            return Err(problem.clone());
        }
    }
    let named = open.iter().flat_map(|open| &open.rows).flat_map(|one| &one.lots);
    let held = standing.iter().flat_map(|held| &held.rows).flat_map(|hold| &hold.lots);
    let codes = Codes::ask(visit, named.chain(held)).await;
    let words = visit.words;
    let now = visit.pages.gateway.keeper.clock.now();
    let day = visit.pages.gateway.plant.day_of(now).to_string();
    let title = words.with("today-title", [("day", day.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (words.say("now-is")) " " (shown::instant(visit, &now.to_string())) }
        (lots::find(visit, "/lots"))
        section aria-labelledby="deviations" {
            h2 id="deviations" { (words.say("open-deviations")) }
            (deviations_shown(visit, &open, &codes))
        }
        section aria-labelledby="holds" {
            h2 id="holds" { (words.say("standing-holds")) }
            (holds_shown(visit, &standing, &codes))
        }
        section aria-labelledby="newest" {
            h2 id="newest" { (words.say("newest-lots")) }
            @match &newest {
                Ok(answer) if answer.lots.is_empty() => p { (words.say("no-lots")) },
                Ok(answer) => {
                    (lots::table(visit, &answer.lots))
                    p { a.button href="/lots" { (words.say("all-lots")) } }
                }
                Err(problem) => (shown::missing(visit, &words.say("newest-lots"), problem)),
            }
        }
    };
    Ok(layout::page(visit, &title, body))
}

fn deviations_shown(
    visit: &Visit,
    found: &Result<Whole<v1::Deviation>, Problem>,
    codes: &Codes,
) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("open-deviations"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-open-deviations")) } },
        Ok(found) => html! {
            (deviations::table(visit, &found.rows, codes))
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}

fn holds_shown(visit: &Visit, found: &Result<Whole<v1::Hold>, Problem>, codes: &Codes) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("standing-holds"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-standing-holds")) } },
        Ok(found) => html! {
            (holds::table(visit, &found.rows, codes))
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}
