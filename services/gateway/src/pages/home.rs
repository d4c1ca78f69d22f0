//! The plant's page: what somebody must look at now, and the newest lots.
//! It never says that nothing is to be done when a part could not be asked.

use futures_util::join;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::shown::{self, lot_link, mark};
use super::visit::{Visit, Whole, is_signed_out};
use super::{layout, lots, methods};
use crate::problem::Problem;

/// Newest lots shown.
const NEWEST: i32 = 10;

/// Shows the page.
pub async fn show(visit: &Visit) -> Result<Answer, Problem> {
    let newest =
        v1::ListLotsRequest { page_size: NEWEST, newest_first: true, ..Default::default() };
    let (deviations, holds, lots) = join!(
        open_deviations(visit),
        standing_holds(visit),
        visit.ask(methods::LIST_LOTS, newest),
    );
    for problem in [deviations.as_ref().err(), holds.as_ref().err(), lots.as_ref().err()] {
        if let Some(problem) = problem.filter(|problem| is_signed_out(problem)) {
            return Err(problem.clone());
        }
    }
    let words = visit.words;
    let now = visit.pages.gateway.keeper.clock.now();
    let day = visit.pages.gateway.plant.day_of(now).to_string();
    let title = words.with("today-title", [("day", day.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (words.say("now-is")) " " (shown::instant(visit, &now.to_string())) }
        (find(visit))
        section aria-labelledby="deviations" {
            h2 id="deviations" { (words.say("open-deviations")) }
            (deviations_shown(visit, &deviations))
        }
        section aria-labelledby="holds" {
            h2 id="holds" { (words.say("standing-holds")) }
            (holds_shown(visit, &holds))
        }
        section aria-labelledby="newest" {
            h2 id="newest" { (words.say("newest-lots")) }
            @match &lots {
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

/// The field in which a lot's code is typed or scanned.
pub fn find(visit: &Visit) -> Markup {
    let words = visit.words;
    html! {
        form.find method="get" action="/lots" role="search" {
            label for="code" { (words.say("find-lot")) }
            input id="code" name="code" autocomplete="off" autocapitalize="characters"
                spellcheck="false" maxlength="40" value=(visit.asked.query.get("code"));
            button type="submit" { (words.say("find")) }
        }
    }
}

async fn open_deviations(visit: &Visit) -> Result<Whole<v1::Deviation>, Problem> {
    let page = |page_size, page_token| async move {
        let open =
            v1::ListDeviationsRequest { open: true, page_size, page_token, ..Default::default() };
        let answer = visit.ask(methods::LIST_DEVIATIONS, open).await?;
        Ok((answer.deviations, answer.next_page_token))
    };
    visit.whole(page).await
}

async fn standing_holds(visit: &Visit) -> Result<Whole<v1::Hold>, Problem> {
    let page = |page_size, page_token| async move {
        let all = v1::ListHoldsRequest { page_size, page_token, ..Default::default() };
        let answer = visit.ask(methods::LIST_HOLDS, all).await?;
        Ok((answer.holds, answer.next_page_token))
    };
    let mut holds = visit.whole(page).await?;
    holds.rows.retain(|hold| hold.ended_at.is_empty());
    Ok(holds)
}

fn deviations_shown(visit: &Visit, found: &Result<Whole<v1::Deviation>, Problem>) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("open-deviations"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-open-deviations")) } },
        Ok(found) => html! {
            ul.items {
                @for deviation in &found.rows {
                    li {
                        (mark(visit, "open")) " "
                        strong { (deviation.check) " · " (deviation.hazard) } " "
                        span lang="en" { (deviation.what) } " "
                        (shown::instant(visit, &deviation.recorded_at)) " "
                        @for lot in &deviation.lots {
                            a href={ "/lots/" (lot) "#deviations" } { (words.say("lot-file")) } " "
                        }
                    }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}

fn holds_shown(visit: &Visit, found: &Result<Whole<v1::Hold>, Problem>) -> Markup {
    let words = visit.words;
    match found {
        Err(problem) => shown::missing(visit, &words.say("standing-holds"), problem),
        Ok(found) if found.rows.is_empty() => html! { p { (words.say("no-standing-holds")) } },
        Ok(found) => html! {
            ul.items {
                @for hold in &found.rows {
                    li {
                        (mark(visit, "on-hold")) " "
                        strong { (hold.reason) } " "
                        (words.with("placed-by", [
                            ("name", hold.placed_by_name.as_str().into())
                        ])) " "
                        (shown::instant(visit, &hold.placed_at)) " "
                        @for lot in &hold.lots { (lot_link(lot, &words.say("lot-file"))) " " }
                    }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}
