//! Deviations: what is open, each with its lots, and its closing with four parts and a signature.
//! It never chooses a disposition: it offers those that the plan names for the hazard.

use futures_util::join;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::lot_file::safety;
use super::lots::Codes;
use super::sentence::told;
use super::shown::{self, mark};
use super::visit::{Signing, Visit, Whole, is_signed_out};
use super::{files, forms, layout, methods};
use crate::problem::Problem;

/// What a record can always be closed as: the reading was amended, and this shows why.
const RECORDED_WRONGLY: &str = "recorded_wrongly";

/// Shows what is open, or all.
pub async fn list(visit: &Visit) -> Result<Answer, Problem> {
    let words = visit.words;
    let shows_all = visit.asked.query.get("show") == "all";
    let found = read(visit, !shows_all).await?;
    let named = found.rows.iter().flat_map(|deviation| &deviation.lots);
    let codes = Codes::ask(visit, named).await;
    let title = words.say("file-deviations");
    let body = html! {
        h1 { (title) }
        p.ways {
            @if shows_all { a.button href="/deviations" { (words.say("only-open")) } }
            @else { a.button href="/deviations?show=all" { (words.say("closed-too")) } }
        }
        @if found.rows.is_empty() { p { (words.say("no-open-deviations")) } }
        @else { (table(visit, &found.rows, &codes)) }
        (shown::more(visit, found.rows.len(), found.has_more))
    };
    Ok(layout::page(visit, &title, body))
}

/// Deviations in the order in which they opened.
pub async fn read(visit: &Visit, open: bool) -> Result<Whole<v1::Deviation>, Problem> {
    let page = |page_size, page_token| async move {
        let open = v1::ListDeviationsRequest { open, ..Default::default() };
        let question = v1::ListDeviationsRequest { page_size, page_token, ..open };
        let answer = visit.ask(methods::LIST_DEVIATIONS, question).await?;
        Ok((answer.deviations, answer.next_page_token))
    };
    visit.whole(page).await
}

/// Deviations that opened at an instant or later.
pub async fn opened_since(
    visit: &Visit,
    since: jiff::Timestamp,
) -> Result<Whole<v1::Deviation>, Problem> {
    let page = |page_size, page_token| async move {
        let opened_since = since.to_string();
        let since = v1::ListDeviationsRequest { opened_since, ..Default::default() };
        let question = v1::ListDeviationsRequest { page_size, page_token, ..since };
        let answer = visit.ask(methods::LIST_DEVIATIONS, question).await?;
        Ok((answer.deviations, answer.next_page_token))
    };
    visit.whole(page).await
}

/// Deviations as a table, each leading to its page.
pub fn table(visit: &Visit, deviations: &[v1::Deviation], codes: &Codes) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("file-deviations")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("deviation")) }
                    th scope="col" { (words.say("state")) }
                    th scope="col" { (words.say("found")) }
                    th scope="col" { (words.say("opened-at")) }
                    th scope="col" { (words.say("lots")) }
                } }
                tbody { @for deviation in deviations { (row(visit, deviation, codes)) } }
            }
        }
    }
}

fn row(visit: &Visit, deviation: &v1::Deviation, codes: &Codes) -> Markup {
    let word = if deviation.closed_at.is_empty() { "open" } else { "closed" };
    html! {
        tr {
            th scope="row" {
                a href={ "/deviations/" (deviation.deviation) } {
                    (deviation.check) " · " (deviation.hazard)
                }
            }
            td { (mark(visit, word)) }
            td lang="en" { (told(visit, &deviation.what)) }
            td { (shown::instant(visit, &deviation.recorded_at)) }
            td { (shown::lot_links(&deviation.lots, codes)) }
        }
    }
}

/// Shows one, or closes it.
pub async fn one(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let question = v1::GetDeviationRequest { deviation: id.to_owned() };
    let deviation = visit.ask(methods::GET_DEVIATION, question).await?;
    if visit.asked.verb == Verb::Get {
        return Ok(page(visit, &deviation, None).await);
    }
    match close(visit, id).await {
        Ok(_) => Ok(Answer::see(&format!("/deviations/{id}"))),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(page(visit, &deviation, Some(&problem)).await),
    }
}

async fn close(visit: &Visit, id: &str) -> Result<v1::Deviation, Problem> {
    let form = &visit.asked.form;
    let text = |name: &str| form.get(name).to_owned();
    let closing = v1::CloseDeviationRequest {
        id: forms::record_id(visit),
        deviation: id.to_owned(),
        cause: text("cause"),
        control: text("control"),
        prevention: text("prevention"),
        disposition: text("disposition"),
        disposition_text: text("disposition_text"),
        evidence: text("evidence"),
    };
    let signing = Signing { subject: format!("deviation:{id}"), meaning: "signs-closing" };
    visit.ask_signed(methods::CLOSE_DEVIATION, closing, signing).await
}

async fn page(visit: &Visit, deviation: &v1::Deviation, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let about = format!("deviation:{}", deviation.deviation);
    let (codes, attached) =
        join!(Codes::ask(visit, deviation.lots.iter()), files::about(visit, &about));
    let title = words.with("deviation-title", [("check", deviation.check.as_str().into())]);
    let is_open = deviation.closed_at.is_empty();
    let body = html! {
        h1 { (title) }
        (forms::alert(visit, problem))
        h2 { (words.say("found")) }
        (safety::one(visit, deviation))
        h2 { (words.say("files")) }
        (files::shown(visit, &attached))
        h2 { (words.say("its-lots")) }
        p { (shown::lot_links(&deviation.lots, &codes)) }
        @if is_open && visit.holds(&[v1::Role::Qa]) { (form(visit, deviation)) }
        @else if is_open { p { (words.say("only-qa-closes")) } }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn form(visit: &Visit, deviation: &v1::Deviation) -> Markup {
    let words = visit.words;
    let offered = deviation.dispositions.iter().map(String::as_str).chain([RECORDED_WRONGLY]);
    let chosen = visit.asked.form.get("disposition");
    html! {
        h2 id="close" { (words.say("close-deviation")) }
        p { (words.say("four-parts")) }
        form.wide method="post" action={ "/deviations/" (deviation.deviation) } {
            input type="hidden" name="id" value=(forms::record_id(visit));
            (forms::area(visit, "cause", "cause", 1000))
            (forms::area(visit, "control", "control", 1000))
            (forms::area(visit, "prevention", "prevention", 1000))
            fieldset {
                legend { (words.say("disposition")) }
                @for one in offered {
                    label.choice {
                        input type="radio" name="disposition" value=(one) required
                            checked[chosen == one];
                        (words.one_of("disposition", one))
                    }
                }
            }
            (forms::area(visit, "disposition_text", "disposition-support", 1000))
            label for="evidence" { (words.say("evidence-if-wrong")) }
            textarea id="evidence" name="evidence" maxlength="1000" {
                (visit.asked.form.raw("evidence"))
            }
            (forms::signature(visit, "signs-closing", "close-deviation"))
        }
    }
}
