//! Holds: what stands, and its end with a reason and a signature.
//! It never offers to end a hold of a deviation: that ends with its deviation.

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::lots::Codes;
use super::sentence::told;
use super::shown::{self, mark};
use super::visit::{Signing, Visit, Whole, is_signed_out};
use super::{forms, layout, methods};
use crate::problem::Problem;

/// Shows what stands, or places a hold.
pub async fn list(visit: &Visit) -> Result<Answer, Problem> {
    if visit.asked.verb == Verb::Post {
        return place(visit).await;
    }
    let found = standing(visit).await?;
    let codes = Codes::ask(visit, found.rows.iter().flat_map(|hold| &hold.lots)).await;
    let title = visit.words.say("standing-holds");
    let body = html! {
        h1 { (title) }
        @if found.rows.is_empty() { p { (visit.words.say("no-standing-holds")) } }
        @else { (table(visit, &found.rows, &codes)) }
        (shown::more(visit, found.rows.len(), found.has_more))
    };
    Ok(layout::page(visit, &title, body))
}

/// Holds that have not ended, the oldest first.
pub async fn standing(visit: &Visit) -> Result<Whole<v1::Hold>, Problem> {
    let mut holds = all(visit).await?;
    holds.rows.retain(|hold| hold.ended_at.is_empty());
    Ok(holds)
}

async fn all(visit: &Visit) -> Result<Whole<v1::Hold>, Problem> {
    let page = |page_size, page_token| async move {
        let all = v1::ListHoldsRequest { page_size, page_token, ..Default::default() };
        let answer = visit.ask(methods::LIST_HOLDS, all).await?;
        Ok((answer.holds, answer.next_page_token))
    };
    visit.whole(page).await
}

/// Holds as a table, each leading to what ends it.
pub fn table(visit: &Visit, holds: &[v1::Hold], codes: &Codes) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("standing-holds")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("state")) }
                    th scope="col" { (words.say("reason-of-hold")) }
                    th scope="col" { (words.say("scope")) }
                    th scope="col" { (words.say("placed")) }
                    th scope="col" { (words.say("lots")) }
                    th scope="col" { (words.say("its-end")) }
                } }
                tbody { @for hold in holds { (row(visit, hold, codes)) } }
            }
        }
    }
}

fn row(visit: &Visit, hold: &v1::Hold, codes: &Codes) -> Markup {
    let words = visit.words;
    html! {
        tr {
            td { (mark(visit, "on-hold")) }
            @if hold.deviation.is_empty() { td { (hold.reason) } }
            @else { td lang="en" { (told(visit, &hold.reason)) } }
            td { (words.one_of("hold-scope", &hold.scope)) }
            td { (shown::instant(visit, &hold.placed_at)) " · "
                (shown::who(visit, &hold.placed_by_name)) }
            td { (shown::lot_links(&hold.lots, codes)) }
            td {
                @if hold.deviation.is_empty() {
                    a href={ "/holds/" (hold.hold) } { (words.say("end-hold")) }
                } @else {
                    a href={ "/deviations/" (hold.deviation) } {
                        (words.say("ends-with-deviation"))
                    }
                }
            }
        }
    }
}

/// Places a hold on the lots of a form.
async fn place(visit: &Visit) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let question = v1::PlaceHoldRequest {
        id: forms::record_id(visit),
        lots: form.all("lot"),
        reason: form.get("reason").to_owned(),
        ..Default::default()
    };
    let hold = visit.ask(methods::PLACE_HOLD, question).await?;
    let lot = hold.lots.first().map(String::as_str).unwrap_or_default();
    Ok(Answer::see(&format!("/lots/{lot}#holds")))
}

/// The form that puts a lot on hold, for those who may.
pub fn place_form(visit: &Visit, lot: &str) -> Markup {
    let words = visit.words;
    let may = visit.holds(&[v1::Role::Supervisor, v1::Role::Qa, v1::Role::Manager]);
    html! {
        @if may {
            form.find method="post" action="/holds" {
                input type="hidden" name="id" value=(forms::record_id(visit));
                input type="hidden" name="lot" value=(lot);
                label for="reason" { (words.say("hold-why")) }
                input id="reason" name="reason" required maxlength="300" autocomplete="off";
                button type="submit" { (words.say("place-hold")) }
            }
        }
    }
}

/// Shows one hold, or ends it.
pub async fn one(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let found = all(visit).await?.rows.into_iter().find(|hold| hold.hold == id);
    let nowhere = || Problem::new(platform::error::Kind::NotFound, "");
    let hold = found.ok_or_else(nowhere)?;
    if visit.asked.verb == Verb::Get {
        return Ok(page(visit, &hold, None).await);
    }
    let question = v1::EndHoldRequest {
        id: forms::record_id(visit),
        hold: id.to_owned(),
        reason: visit.asked.form.get("reason").to_owned(),
    };
    let signing = Signing { subject: format!("hold:{id}"), meaning: "signs-end-of-hold" };
    match visit.ask_signed(methods::END_HOLD, question, signing).await {
        Ok(_) => Ok(Answer::see(&format!("/holds/{id}"))),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(page(visit, &hold, Some(&problem)).await),
    }
}

async fn page(visit: &Visit, hold: &v1::Hold, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let codes = Codes::ask(visit, hold.lots.iter()).await;
    let title = words.say("hold");
    let is_standing = hold.ended_at.is_empty();
    let body = html! {
        h1 { (title) " " (mark(visit, if is_standing { "on-hold" } else { "ended" })) }
        (forms::alert(visit, problem))
        dl {
            dt { (words.say("reason-of-hold")) } dd { (hold.reason) }
            dt { (words.say("scope")) } dd { (words.one_of("hold-scope", &hold.scope)) }
            dt { (words.say("placed")) }
            dd { (shown::instant(visit, &hold.placed_at)) " · "
                (shown::who(visit, &hold.placed_by_name)) }
            @if !is_standing {
                dt { (words.say("ended")) }
                dd { (shown::instant(visit, &hold.ended_at)) " · " (hold.ended_by_name) ": "
                    (hold.end_reason) }
            }
            dt { (words.say("lots")) }
            dd { (shown::lot_links(&hold.lots, &codes)) }
        }
        @if !hold.deviation.is_empty() {
            p { a.button href={ "/deviations/" (hold.deviation) } {
                (words.say("ends-with-deviation"))
            } }
        } @else if is_standing && visit.holds(&[v1::Role::Qa]) {
            form.wide method="post" action={ "/holds/" (hold.hold) } {
                input type="hidden" name="id" value=(forms::record_id(visit));
                (forms::area(visit, "reason", "end-why", 300))
                (forms::signature(visit, "signs-end-of-hold", "end-hold"))
            }
        } @else if is_standing {
            p { (words.say("only-qa-ends")) }
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}
